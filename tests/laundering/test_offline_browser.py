"""A tablet with poor Wi-Fi, in a real browser: over a wire that is cut and restored, nothing tapped is lost, doubled,
out of order, or sent by somebody else."""

import contextlib
import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import Error, Page, expect

from apps.core import clock
from apps.laundering import services
from apps.laundering.models import CycleLog, KeptTap, Load
from apps.trail.models import TrailEntry
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, PASSWORD
from tests.laundering.support import WASH, dried, make_up, ready, start
from tests.laundering.wire import State, Wire

pytestmark = pytest.mark.once  # what the database does with a tap is told in test_offline_carried.py
LONG = 20_000


@pytest.fixture
def wire(live_server):
    wire = Wire(live_server.thread.host, live_server.thread.port)
    yield wire
    wire.close()


@pytest.fixture
def load(people):
    """Washed and dried on an earlier day: to be ticked off."""
    with clock.set_to(NOON):
        return dried(people, ready(people))


def until(page: Page, script: str) -> None:
    """Until this comes to something. (Playwright's own waiting needs what the content policy forbids.)"""
    for _ in range(200):
        if page.evaluate(f"Promise.resolve({script}).then(Boolean)"):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"never came to anything: {script}")


def at_the_laundry(page: Page, wire: Wire, load: Load) -> None:
    """On the load's page; the queue was seen before, and the worker looks after both."""
    page.goto(f"{wire.url}/laundry/")
    until(page, "navigator.serviceWorker.controller")
    page.goto(f"{wire.url}/laundry/loads/{load.pk}/")
    until(page, f"caches.match('/laundry/loads/{load.pk}/', {{ ignoreVary: true }})")


def tick(page: Page, number: int) -> None:
    """The piece of this place in the list."""
    page.locator("#tick li").nth(number).get_by_role("button", name=re.compile("Done")).click()


def waiting(page: Page, many: int) -> None:
    if many:
        expect(page.get_by_role("heading", name=f"Waiting to be sent: {many}")).to_be_visible(timeout=LONG)
    else:
        expect(page.locator("#waiting")).to_be_hidden(timeout=LONG)


def told(page: Page):
    return expect(page.locator("#tap-told"))


def back_online(page: Page) -> None:
    """The tablet sends now; it may just be about to do so by itself, and then the page goes anew."""
    with contextlib.suppress(Error):
        page.evaluate("window.dispatchEvent(new Event('online'))")


def kept_of(page: Page) -> list[str]:
    """Whose pages this tablet keeps."""
    names = page.evaluate("caches.keys()")
    return [name.removeprefix("laundry-pages-") for name in names if name.startswith("laundry-pages-")]


def be(context, wire, person) -> None:
    """This person signs in on the same tablet; nobody if None."""
    context.clear_cookies(name=settings.SESSION_COOKIE_NAME)
    if person:
        sign_in(context, wire, person)


def test_taps_wait_while_the_wire_is_cut_and_come_once_and_in_order(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    wire.become(State.CUT)
    tick(page, 2)
    waiting(page, 1)
    told(page).to_contain_text("kept in this tablet, not in the lab's book yet")
    tick(page, 0)
    waiting(page, 2)
    page.reload()
    expect(page.locator("#as-of")).to_contain_text(re.compile(r"Offline: *this page is as of \d\d:\d\d"))
    waiting(page, 2)
    expect(page.get_by_text("waits to be sent")).to_have_count(2)
    tick(page, 1)
    waiting(page, 3)
    page.get_by_role("link", name="Laundry").first.click()
    expect(page).to_have_url(f"{wire.url}/laundry/")
    waiting(page, 3)
    expect(page.locator("#waiting li").first).to_contain_text("A3 of")
    assert not CycleLog.objects.exists()
    wire.become(State.WHOLE)
    back_online(page)
    told(page).to_contain_text(re.compile("In the lab's book now: A3 .*; A1 .*; A2 "))
    expect(page.locator("#messages")).to_contain_text("readings are due")
    waiting(page, 0)
    cycles = list(CycleLog.objects.order_by("pk"))
    assert [cycle.specimen.short_code for cycle in cycles] == ["A3", "A1", "A2"]
    assert sorted(cycle.done_at for cycle in cycles) == [cycle.done_at for cycle in cycles]
    assert all(cycle.done_at < cycle.recorded_at for cycle in cycles)
    assert not KeptTap.objects.exists()


def test_what_was_written_while_its_answer_was_lost_is_one_row(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    wire.become(State.ONE_WAY)
    tick(page, 0)
    waiting(page, 1)
    for _ in range(100):
        if CycleLog.objects.exists():
            break
        page.wait_for_timeout(50)
    wire.become(State.WHOLE)
    told(page).to_contain_text("In the lab's book now: A1", timeout=LONG)
    assert CycleLog.objects.count() == 1 and not KeptTap.objects.exists()


def test_a_dead_wire_does_not_hold_the_page(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    wire.become(State.DEAD)
    page.reload()
    expect(page.locator("#as-of")).to_be_visible()
    tick(page, 0)
    waiting(page, 1)
    wire.become(State.WHOLE)
    waiting(page, 0)
    assert CycleLog.objects.count() == 1


def test_only_the_houses_own_answer_counts(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    portal = {"status": 200, "content_type": "text/html", "body": "<p>Welcome to the guests' Wi-Fi"}
    answers, given = [{"status": 503, "body": "later"}, {"status": 500}, {"status": 403}, portal], []

    def answer(route) -> None:
        given.append(answers[min(len(given), 3)])
        route.fulfill(**given[-1])

    context.route("**/tick/", answer)
    tick(page, 0)
    for many in range(1, 5):
        while len(given) < many:
            page.get_by_role("button", name="Send now").click()
            page.wait_for_timeout(300)
        waiting(page, 1)
        expect(page.locator("#waiting")).to_contain_text("The lab's book did not take it in.")
    context.unroute("**/tick/")
    back_online(page)
    waiting(page, 0)
    assert CycleLog.objects.count() == 1


def test_two_pages_of_one_tablet_send_each_tap_once(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    other = context.new_page()
    at_the_laundry(other, wire, load)
    wire.become(State.CUT)
    tick(page, 0)
    waiting(page, 1)
    tick(other, 1)
    waiting(other, 2)
    wire.become(State.WHOLE)
    for one in (page, other):
        back_online(one)
    waiting(page, 0)
    waiting(other, 0)
    assert list(CycleLog.objects.order_by("pk").values_list("specimen__number", flat=True)) == [1, 2]
    assert TrailEntry.objects.filter(kind="cycle.ticked").count() == 2


def test_another_person_on_the_same_tablet_sends_nothing_of_the_first(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    assert kept_of(page) == [str(people.lou.pk)]
    wire.become(State.CUT)
    tick(page, 0)
    tick(page, 1)
    waiting(page, 2)
    be(context, wire, people.mara)
    wire.become(State.WHOLE)
    page.get_by_role("button", name="Send now").click()  # Lou's page is still open
    expect(page.locator("#waiting")).to_contain_text("Somebody else is signed in")
    other = context.new_page()
    other.goto(f"{wire.url}/laundry/loads/{load.pk}/")
    expect(other.locator("#others-waiting")).to_contain_text("Lou Laundry has 2 taps waiting in this tablet")
    expect(other.locator("#waiting")).to_be_hidden()
    tick(other, 2)
    expect(other.locator("#tick li").nth(2)).to_contain_text("ticked off")
    assert kept_of(other) == [str(people.mara.pk)]
    assert [cycle.done_by for cycle in CycleLog.objects.all()] == [people.mara]
    other.close()
    waiting(page, 2)
    be(context, wire, people.lou)
    page.reload()
    told(page).to_contain_text("In the lab's book now: A1")
    assert [cycle.done_by.username for cycle in CycleLog.objects.order_by("pk")] == ["mara", "lou", "lou"]


def test_after_an_ended_sign_in_the_taps_wait_for_the_next(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    be(context, wire, None)
    tick(page, 0)
    waiting(page, 1)
    expect(page.locator("#waiting")).to_contain_text("Your sign-in has ended")
    page.get_by_role("link", name="Sign in to send").click()
    expect(page).to_have_url(re.compile("/sign-in/"))
    until(page, "caches.keys().then((names) => !names.some((name) => name.startsWith('laundry-pages')))")
    page.get_by_label("User name").fill("lou")
    page.locator("[name=password]").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    told(page).to_contain_text("In the lab's book now: A1")
    expect(page).to_have_url(f"{wire.url}/laundry/loads/{load.pk}/")
    assert CycleLog.objects.get().done_by == people.lou


def test_signing_out_leaves_no_page_behind(page, context, wire, people, load):
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    page.locator(".who summary").click()
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_url(re.compile("/sign-in/"))
    until(page, "caches.keys().then((names) => !names.some((name) => name.startsWith('laundry-pages')))")
    wire.become(State.CUT)
    page.goto(f"{wire.url}/laundry/")
    expect(page.get_by_role("heading", name="Offline")).to_be_visible()
    expect(page.get_by_text("Kept in this tablet:")).to_have_count(0)


def test_a_tap_that_no_longer_fits_is_kept_for_the_manager(page, context, wire, people):
    with clock.set_to(NOON):
        load = start(people, make_up(people, ready(people)))
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    wire.become(State.CUT)
    page.get_by_label("Rinse water").fill("20")
    page.get_by_role("button", name="The machine has stopped").click()
    waiting(page, 1)
    expect(page.locator("#waiting li")).to_contain_text("The last spin ran · Rinse water, if it was measured (°C): 20")
    services.void_load(load_id=load.pk, reason="a belt broke", by=people.mara, at=clock.now())
    wire.become(State.WHOLE)
    expect(page.locator("#messages")).to_contain_text("It is kept for the manager", timeout=LONG)
    waiting(page, 0)
    row = KeptTap.objects.get()
    assert (row.what, row.by, row.load) == (f"End of the wash, load {load.pk}", people.lou, load)
    assert "rinse_temp_c" in str(row.typed) and "is void" in row.refusal
    page.goto(f"{wire.url}/laundry/kept/")
    expect(page.get_by_role("heading", name=row.what)).to_be_visible()


def weigh(page: Page) -> None:
    """Everything that the start of a wash asks for."""
    for label, name in (("Specimens, weighed", "specimen_mass_g"), ("Pieces of ballast", "ballast_pieces")):
        page.get_by_label(label).fill(WASH[name])
    for name in ("ballast_mass_g", "ballast", "detergent_g", "detergent", "detergent_lot", "water_temp_c"):
        page.locator(f"[name={name}]").fill(WASH[name])
    page.locator("[name=water_temp_c]").blur()
    page.get_by_label("Washer").select_option(label="W1")
    expect(page.locator("#proposal")).to_contain_text("12 pieces")
    expect(page.locator("#water-told")).to_contain_text("as asked")


def test_a_wash_begun_without_a_connection_begins_when_it_was_tapped(page, context, wire, people):
    with clock.set_to(NOON):
        load = make_up(people, ready(people))
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    weigh(page)
    wire.become(State.CUT)
    page.get_by_role("button", name="Cloth is in").click()
    waiting(page, 1)
    expect(page.locator("#waiting li")).to_contain_text("Washer: W1")
    page.wait_for_timeout(1500)
    wire.become(State.WHOLE)
    told(page).to_contain_text(f"In the lab's book now: Start of the wash, load {load.pk}", timeout=LONG)
    load.refresh_from_db()
    assert load.state == Load.State.WASHING and load.wash_by == people.lou
    assert (clock.now() - load.wash_started_at).total_seconds() > 1.5
    expect(page.locator("[data-left]").first).to_have_text("0 min so far, about 1 h 00 min left")


def test_a_wash_begun_and_ended_without_a_connection(page, context, wire, people):
    with clock.set_to(NOON):
        load = make_up(people, ready(people))
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    weigh(page)
    wire.become(State.CUT)
    page.get_by_role("button", name="Cloth is in").click()
    waiting(page, 1)
    page.reload()
    expect(page.get_by_text("The start waits in this tablet")).to_be_visible()
    page.get_by_role("button", name="The machine has stopped").click()
    waiting(page, 2)
    wire.become(State.WHOLE)
    told(page).to_contain_text("In the lab's book now: Start of the wash", timeout=LONG)
    load.refresh_from_db()
    assert load.state == Load.State.WASHED and load.wash_started_at < load.wash_ended_at
    expect(page.get_by_role("heading", name="To dry")).to_be_visible()


def test_a_refusal_at_once_stays_on_the_form(page, context, wire, people):
    with clock.set_to(NOON):
        load = make_up(people, ready(people))
    be(context, wire, people.lou)
    at_the_laundry(page, wire, load)
    page.get_by_label("Specimens, weighed together dry").fill("240")
    page.get_by_role("button", name="Cloth is in").click()
    expect(page.get_by_role("alert")).to_be_focused()
    expect(page.get_by_label("Specimens, weighed together dry")).to_have_value("240")
    waiting(page, 0)
    assert not KeptTap.objects.exists()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_reads_well_while_it_waits(browser, live_server, wire, people, load, scheme, tmp_path):
    context = browser.new_context(color_scheme=scheme, viewport=DESK)
    be(context, wire, people.lou)
    page = context.new_page()
    at_the_laundry(page, wire, load)
    wire.become(State.CUT)
    tick(page, 1)
    waiting(page, 1)
    page.reload()
    waiting(page, 1)
    for size in (PHONE, TABLET):
        page.set_viewport_size(size)
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
        found = Axe().run(page)
        assert found.violations_count == 0, (size, scheme, found.generate_report())
        page.screenshot(path=tmp_path / f"waiting-{scheme}-{size['width']}.png", full_page=True)
    context.close()
