"""The laundry in a real browser: ticking swaps its row, and the balance's figure brings the ballast."""

import re

from playwright.sync_api import Page, expect

from apps.core import clock
from apps.laundering.models import CycleLog
from tests.browser import PHONE, sign_in
from tests.cast import NOON
from tests.laundering.support import dried, make_up, ready


def test_a_tick_swaps_its_row_and_says_what_is_next(page: Page, context, live_server, people):
    with clock.set_to(NOON):
        load = dried(people, ready(people))
    sign_in(context, live_server, people.lou)
    page.set_viewport_size(PHONE)
    page.goto(f"{live_server.url}/laundry/loads/{load.pk}/")
    row = page.locator("#tick li").first
    row.get_by_role("button", name="Done: cycle 1").click()
    expect(row).to_contain_text("cycle 1 ticked off")
    expect(page.locator("#messages")).to_contain_text("readings are due")
    expect(page.get_by_role("button", name="Done: cycle 1")).to_have_count(2)
    assert CycleLog.objects.count() == 1
    page.get_by_role("button", name=re.compile("Tick off all")).click()
    expect(page.get_by_role("button", name=re.compile("Tick off all"))).to_have_count(0)
    expect(page.locator("#messages")).to_contain_text("readings are due")
    assert CycleLog.objects.count() == 3
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_the_weighed_figure_brings_the_ballast(page: Page, context, live_server, people):
    with clock.set_to(NOON):
        load = make_up(people, ready(people))
    sign_in(context, live_server, people.lou)
    page.goto(f"{live_server.url}/laundry/loads/{load.pk}/")
    page.get_by_label("Specimens, weighed together dry").fill("240")
    page.keyboard.press("Tab")
    expect(page.locator("#proposal")).to_contain_text("12 pieces of ballast")
    page.get_by_role("button", name="Cloth is in").click()
    expect(page.get_by_role("alert")).to_contain_text("The wash has not begun")
    expect(page.get_by_label("Specimens, weighed together dry")).to_have_value("240")
