"""How long runs have gone on: printed without script, the same on every device, and through a reload."""

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from apps.accounts.models import Lab
from apps.core import clock
from apps.laundering.queries import Pace, in_hand
from tests.browser import TABLET, sign_in
from tests.cast import NOON, LabTestCase
from tests.laundering.support import dry, make_up, ready, start, washed
from tests.laundering.test_offline_browser import at_the_laundry, wire  # noqa: F401
from tests.laundering.wire import State

MINUTE = timedelta(minutes=1)
AHEAD = """(() => {
  const ahead = 17 * 60000, now = Date.now.bind(Date), Real = Date;
  window.Date = class extends Real { constructor(...given) { super(...(given.length ? given : [now() + ahead])); } };
  window.Date.now = () => now() + ahead;
  Object.defineProperty(performance, "timeOrigin", { value: performance.timeOrigin + ahead });
})()"""


class TimerTests(LabTestCase):
    def pace(self, minutes: int) -> Pace:
        return Pace.of(Lab(wash_minutes=40, tumble_minutes=50, air_dry_hours=16), NOON + minutes * MINUTE)

    def test_a_run_is_over_by_the_labs_own_settings(self):
        washing = start(self, make_up(self, ready(self)))
        tumbling = dry(self, washed(self, ready(self), washer_id=self.washers[1].pk))
        hanging = dry(self, washed(self, ready(self, dry="aatcc-b"), washer_id=self.washers[1].pk), dryer_id=None)
        for minutes, expected in ((39, (False, False)), (40, (True, False)), (50, (True, True))):
            pace = self.pace(minutes)
            self.assertEqual((pace.of_wash(washing).over, pace.of_drying(tumbling).over), expected)
        self.assertEqual(self.pace(0).of_drying(hanging).until, NOON + timedelta(hours=16))
        self.assertEqual(self.pace(0).of_drying(hanging).todo, "look whether it is dry")

    def test_what_is_over_is_in_hand_to_be_unloaded(self):
        start(self, make_up(self, ready(self)))
        washed(self, ready(self), washer_id=self.washers[1].pk)
        self.assertEqual([one.is_over for one in in_hand(self.lou, self.pace(39))], [False, False])
        self.assertEqual([one.is_over for one in in_hand(self.lou, self.pace(40))], [False, True])

    def test_the_queue_and_the_load_print_it_without_script(self):
        load = start(self, make_up(self, ready(self)))
        self.sign_in(self.lou)
        page = self.client.get("/laundry/")
        self.assertContains(page, "2 Mar 2026, 12:00</time>, about until")
        self.assertContains(page, "2 Mar 2026, 13:00</time>")
        self.assertContains(page, "60 minutes a wash")
        self.assertContains(page, '<section class="section" id="unload-now" hidden>')
        with clock.set_to(NOON + 61 * MINUTE):
            self.sign_in(self.lou)
            self.assertContains(self.client.get("/laundry/"), '<section class="section" id="unload-now">')
            page = self.client.get(f"/laundry/loads/{load.pk}/")
            self.assertContains(page, "<span data-over>")


def a_wash_since(people, before: timedelta):
    began = clock.now() - before
    with clock.set_to(NOON):
        load = make_up(people, ready(people))
    return start(people, load, at=began)


@pytest.mark.once
def test_the_same_on_every_device_and_through_a_reload(browser, live_server, wire, people):  # noqa: F811
    load = a_wash_since(people, 25 * MINUTE)
    left = []
    for script in ("", AHEAD):
        context = browser.new_context(viewport=TABLET)
        if script:
            context.add_init_script(script)
        sign_in(context, wire, people.lou)
        page = context.new_page()
        at_the_laundry(page, wire, load)
        expect(page.locator("[data-left]")).to_have_text("25 min so far, about 35 min left")
        page.reload()
        expect(page.locator("[data-left]")).to_have_text("25 min so far, about 35 min left")
        wire.become(State.CUT)
        page.reload()
        expect(page.locator("#as-of")).to_be_visible()
        assert abs(page.evaluate("laundry.now()") - clock.now().timestamp() * 1000) < 5000
        left.append(page.locator("[data-left]").inner_text())
        wire.become(State.WHOLE)
        context.close()
    assert left == ["25 min so far, about 35 min left"] * 2


@pytest.mark.once
def test_a_run_that_is_over_moves_up_while_the_page_is_open(page, context, live_server, people):
    load = a_wash_since(people, 60 * MINUTE - timedelta(seconds=4))
    sign_in(context, live_server, people.lou)
    page.goto(f"{live_server.url}/laundry/")
    expect(page.locator("#unload-now")).to_be_hidden()
    expect(page.locator("#unload-now li")).to_contain_text(f"Load {load.pk}", timeout=15_000)
    expect(page.locator("#unload-now")).to_be_visible()
    expect(page.locator("#tap-told")).to_contain_text(f"Load {load.pk}: unload now.")
