"""A sheet of eighteen readings, read aloud and typed: figures and Enter, nothing else."""

from decimal import Decimal

import pytest
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.intake.models import Specimen
from apps.measuring.models import Reading
from tests.browser import PHONE, sign_in
from tests.cast import NOON, a_marked_request, after_cycle, assemble, with_originals

LENGTHS = ["244", "243", "244", "245", "244", "243", "242", "244", "245"]
IN_BENCH_ORDER = [*LENGTHS[:3], *["251"] * 3, *LENGTHS[3:6], *["250"] * 3, *LENGTHS[6:], *["250"] * 3]


@pytest.fixture
def washed(transactional_db, live_server, page: Page):
    """A request washed once, its readings due; Bea sits at the sheet."""
    cast = assemble()
    with clock.set_to(NOON):
        request = after_cycle(cast, with_originals(cast, a_marked_request(cast)))
    sign_in(page.context, live_server, cast.bea)
    page.goto(f"{live_server.url}/samples/{request.sample.code}/readings/")
    return request


def figures(page: Page) -> list[str]:
    """All percent figures of the page as they stand, in their order."""
    told = page.locator("[data-change], [data-mean], [data-overall], [data-count]")
    return [text for text in told.all_inner_texts() if text.strip()]


def test_eighteen_readings_by_keyboard_alone(washed, page: Page):
    for text in IN_BENCH_ORDER:
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    expect(page.locator("[data-overall=length]")).to_have_text("−2.5 %")
    expect(page.locator("[data-overall=width]")).to_have_text("+0.1 %")
    live = figures(page)
    expect(page.get_by_role("button", name="Save the readings")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_text("18 readings are saved.")).to_be_visible()
    assert figures(page) == live, "what was seen while typing is what the lab's book says"
    read = Reading.objects.filter(stage=1).order_by("pair__specimen__number", "pair__direction", "pair__number")
    assert list(read.values_list("text", flat=True)) == IN_BENCH_ORDER
    assert set(washed.specimens.values_list("stage", flat=True)) == {Specimen.Stage.DONE}


def test_an_error_keeps_everything_and_is_mended_by_keyboard(washed, page: Page):
    for text in ["24.4", "24,3", "x4", "9 5/8"]:
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    page.get_by_label("cm", exact=True).check()
    expect(page.locator("[data-mean='A1 length']")).to_have_text("−2.6 %")
    page.get_by_role("button", name="Save the readings").press("Enter")
    expect(page.get_by_text("nothing is saved yet")).to_be_visible()
    wrong = page.locator("input[aria-invalid=true]")
    expect(wrong).to_have_count(2)
    expect(page.get_by_label("A1 length 1")).to_have_value("24.4")
    wrong.nth(0).fill("24.35")
    wrong.nth(0).press("Enter")
    page.keyboard.type("25")
    page.get_by_role("button", name="Save the readings").press("Enter")
    expect(page.get_by_text("4 readings are saved.")).to_be_visible()
    assert Reading.objects.get(stage=1, text="24.35").mm == Decimal("243.5")


def test_inches_and_ties_are_reckoned_as_the_book_does(washed, page: Page):
    page.get_by_label("inches, also 9 5/8").check()
    for label, text in (
        ("A1 length 1", "9 5/8"),
        ("A1 length 2", '9.6"'),
        ("A1 width 1", "9-27/32"),
        ("A2 width 1", "10"),
    ):
        page.get_by_label(label).fill(text)
    live = figures(page)
    assert "−2.2 %" in live and "+1.6 %" in live
    page.get_by_role("button", name="Save the readings").click()
    expect(page.get_by_text("4 readings are saved.")).to_be_visible()
    assert figures(page) == live


def test_without_script_on_a_phone(washed, live_server, browser):
    """Cells typed are kept, the change stands there after saving, and nothing runs over the edge."""
    address = f"{live_server.url}/samples/{washed.sample.code}/readings/"
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    cast_bea = Reading.objects.first().read_by
    sign_in(context, live_server, cast_bea)
    page = context.new_page()
    page.goto(address)
    page.get_by_label("A1 length 1").fill("244")
    page.get_by_label("A1 length 1").press("Enter")
    expect(page.get_by_text("1 reading is saved.")).to_be_visible()
    expect(page.locator("[data-overall=length]")).to_have_text("−2.4 %")
    widest = page.locator("body").bounding_box()["width"]
    for box in (place.bounding_box() for place in page.locator("main input:visible").all()):
        assert box["x"] + box["width"] <= widest
    context.close()
