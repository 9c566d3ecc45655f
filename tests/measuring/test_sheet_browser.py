"""A sheet of eighteen readings, read aloud and typed: figures and Enter, nothing else. Each cell is saved when it is
left; the figures are those of the lab's book."""

from decimal import Decimal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.intake.models import Deviation, Specimen
from apps.measuring.models import Reading
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, a_marked_request, after_cycle, assemble, with_originals, with_readings

LENGTHS = ["244", "243", "244", "245", "244", "243", "242", "244", "245"]
IN_BENCH_ORDER = [*LENGTHS[:3], *["251"] * 3, *LENGTHS[3:6], *["250"] * 3, *LENGTHS[6:], *["250"] * 3]
expect.set_options(timeout=30_000)  # a loaded machine is waited for


@pytest.fixture
def cast(transactional_db):
    return assemble()


@pytest.fixture
def washed(cast, live_server, page: Page):
    """A request washed once, its readings due; Bea sits at the sheet."""
    with clock.set_to(NOON):
        request = after_cycle(cast, with_originals(cast, a_marked_request(cast)))
    sign_in(page.context, live_server, cast.bea)
    page.goto(f"{live_server.url}/samples/{request.sample.code}/readings/")
    return request


class Keys:
    """Types as a hand or a digital tape does, and counts the presses."""

    def __init__(self, page: Page) -> None:
        self.page, self.pressed = page, 0

    def reading(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")
        self.pressed += len(text) + 1


def saved(page: Page, many: int) -> None:
    expect(page.locator("[data-state=read], td:has(> [data-value]:not([hidden]))")).to_have_count(many)


def test_eighteen_readings_by_keyboard_alone(washed, page: Page):
    keys = Keys(page)
    for text in IN_BENCH_ORDER:
        keys.reading(text)
    expect(page.locator("#all-read")).to_be_visible()
    assert keys.pressed == sum(len(text) + 1 for text in IN_BENCH_ORDER), "a value and Enter, nothing more"
    assert Reading.objects.filter(stage=1).count() == 18
    expect(page.locator("[data-overall=length]")).to_have_text("−2.5 %")
    expect(page.locator("[data-overall=width]")).to_have_text("+0.1 %")
    expect(page.locator("[data-spread=length]")).to_have_text("s 0.08 %")
    expect(page.locator("[data-count=length]")).to_have_text("9")
    figures = page.locator("[data-change], [data-mean], [data-overall], [data-count], [data-spread]")
    live = figures.all_inner_texts()
    page.reload()
    assert figures.all_inner_texts() == live, "the page brought anew says the same"
    read = Reading.objects.filter(stage=1).order_by("pair__specimen__number", "pair__direction", "pair__number")
    assert list(read.values_list("text", flat=True)) == IN_BENCH_ORDER
    assert set(washed.specimens.values_list("stage", flat=True)) == {Specimen.Stage.DONE}


def test_each_cell_is_saved_when_it_is_left_and_figures_appear(washed, page: Page):
    Keys(page).reading("244")
    expect(page.locator("td", has=page.get_by_text("244 mm"))).to_contain_text("−2.4 %")
    assert Reading.objects.get(stage=1).text == "244"
    page.keyboard.type("243")
    page.keyboard.press("Tab")
    saved(page, 2)
    expect(page.locator("[data-mean='A1 length']")).to_have_text("−2.6 %")
    expect(page.locator("#cells-left")).to_have_text("16")


def test_what_is_wrong_stays_typed_and_stands_beside_its_cell(washed, page: Page):
    keys = Keys(page)
    for text in ("244", "24.3", "x4", "-3"):
        keys.reading(text)
    expect(page.locator("input[aria-invalid=true]")).to_have_count(3)
    expect(page.locator("td", has=page.get_by_label("A1 length 2"))).to_contain_text("Was it read in centimetres?")
    expect(page.locator("td", has=page.get_by_label("A1 length 3"))).to_contain_text("is no length in mm")
    assert Reading.objects.filter(stage=1).count() == 1
    page.reload()
    expect(page.get_by_label("A1 length 3")).to_have_value("x4")
    page.get_by_label("A1 length 3").fill("244")
    page.get_by_label("A1 length 3").press("Enter")
    saved(page, 2)
    page.get_by_label("I looked again").check()
    page.get_by_label("Why they are right").fill("felted, invented")
    page.get_by_label("A1 width 1").fill("250")
    page.get_by_role("button", name="Save the readings").click()
    expect(page.get_by_text("readings are saved.")).to_be_visible()
    assert Deviation.objects.filter(kind="reading").count() == 1, "one reason for the sheet"
    assert Reading.objects.filter(stage=1, text="24.3").exists()


def test_units_of_the_sheet(washed, page: Page):
    for label, name, typed, mm in (
        ("inches, also 9 5/8", "A1 length 1", "9 5/8", "244.475"),
        ("1/8 in", "A1 length 2", "9 5", "244.475"),
        ("1/16 in", "A1 width 1", "9 13", "249.2375"),
        ("cm", "A1 width 2", "25.05", "250.5"),
        ("mm", "A1 width 3", "250.25 mm", "250.25"),
    ):
        page.get_by_label(label, exact=label in ("cm", "mm")).check()
        page.get_by_label(name).fill(typed)
        page.get_by_label(name).press("Enter")
        expect(page.get_by_label(name)).to_have_count(0)
        assert Reading.objects.latest("pk").mm == Decimal(mm)
    page.get_by_label("percent scale").check()
    page.get_by_label("A2 width 1").fill("-2.5")
    page.get_by_label("A2 width 1").press("Enter")
    expect(page.locator("#sheet-told")).to_contain_text("read as a length")


def test_a_template_is_read_in_percent(cast, live_server, page: Page):
    with clock.set_to(NOON):
        request = a_marked_request(cast)
    sign_in(page.context, live_server, cast.bea)
    page.goto(f"{live_server.url}/samples/{request.sample.code}/readings/")
    page.get_by_role("button", name="All marked with the percent template").click()
    expect(page.get_by_text("18 readings are saved.")).to_be_visible()
    after_cycle(cast, request, at=clock.now())
    page.goto(f"{live_server.url}/samples/{request.sample.code}/readings/")
    keys = Keys(page)
    for text in ["-2.5", "-2.0", "-3.0", "+1.0", "0", "+0.5"] * 3:
        keys.reading(text)
    expect(page.locator("#all-read")).to_be_visible()
    expect(page.locator("[data-overall=length]")).to_have_text("−2.5 %")
    expect(page.locator("[data-overall=width]")).to_have_text("+0.5 %")


def test_two_people_on_one_sheet(washed, cast, live_server, page: Page, browser):
    with clock.set_to(NOON):
        with_readings(cast, washed, 1, ["244", *[""] * 17])
    Keys(page).reading("245")
    told = page.locator("#sheet-told")
    expect(told).to_contain_text("Already read by Bea Bench")
    expect(told).to_contain_text("244 mm")
    assert [reading.text for reading in Reading.objects.filter(stage=1)] == ["244"]


def test_values_before_washing_can_be_hidden(washed, page: Page):
    expect(page.get_by_text("from 250.0")).to_have_count(18)
    page.get_by_role("link", name="Hide the values before washing").click()
    expect(page.get_by_text("from 250.0")).to_have_count(0)
    keys = Keys(page)
    for text in IN_BENCH_ORDER[:17]:
        keys.reading(text)
    saved(page, 17)
    assert "%" not in "".join(page.locator("[data-change], [data-mean], [data-overall]").all_inner_texts())
    keys.reading(IN_BENCH_ORDER[17])
    expect(page.locator("[data-overall=length]")).to_have_text("−2.5 %")


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


def test_nothing_serious_for_axe_at_any_width(washed, page: Page):
    keys = Keys(page)
    for text in ("244", "24"):
        keys.reading(text)
    expect(page.locator("input[aria-invalid=true]")).to_have_count(1)
    for viewport in (DESK, TABLET, PHONE, {"width": 720, "height": 450}):  # the last is 200 % of 1440
        for scheme in ("light", "dark"):
            page.set_viewport_size(viewport)
            page.emulate_media(color_scheme=scheme)
            found = Axe().run(page).response["violations"]
            assert [v["id"] for v in found if v["impact"] in ("serious", "critical")] == [], (viewport, scheme)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
