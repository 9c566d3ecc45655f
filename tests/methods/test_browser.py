"""The catalogue in a real browser: on a phone, a tablet and a desk, in both lights, and without script."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.methods import services
from apps.methods.models import Figure, LaunderingProcedure
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON
from tests.methods.support import a_figure, confirm, wash, wash_numbers

PAGES = [
    *("/methods/", "/methods/washes/", "/methods/dryings/", "/methods/points/"),
    *("/methods/aatcc-tm135-2018-small/", "/methods/aatcc-tm135-2014/", "/methods/washes/own-cotton-35/"),
    *("/methods/washes/aatcc-1-iii/", "/methods/dryings/aatcc-a-i/", "/methods/extras/aatcc-tm207-2017/"),
    *("/methods/washes/aatcc-1-iii/copy/", "/methods/aatcc-tm135-2018-small/copy/", "/methods/dryings/aatcc-b/copy/"),
]


@pytest.fixture
def world(transactional_db, people):
    with clock.set_to(NOON):
        confirm(people, a_figure("procedure:aatcc-1-iii", "agitation"), "88 ± 2 strokes/min")
        confirm(people, a_figure("procedure:aatcc-1-iii", "wash time"))
        services.copy_procedure(
            procedure_id=wash().pk, label="Cotton 35", numbers=wash_numbers(wash()), by=people.mara, at=NOON
        )
    return people


@pytest.mark.once
def test_reads_well_on_every_width_in_both_lights(world, browser, live_server):
    figure = a_figure("procedure:aatcc-1-iii", "agitation")
    for scheme, size in (("light", PHONE), ("dark", TABLET), ("light", DESK)):
        context = browser.new_context(viewport=size, color_scheme=scheme)
        sign_in(context, live_server, world.mara)
        page = context.new_page()
        for address in [*PAGES, f"/methods/figures/{figure.pk}/"]:
            page.goto(live_server.url + address)
            details = page.locator("details.sheet")
            if details.count():
                details.first.evaluate("element => element.open = true")
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], (address, size)
            found = Axe().run(page)
            assert found.violations_count == 0, (address, scheme, found.generate_report())
        context.close()


def test_a_number_is_held_against_the_copy_without_script(world, browser, live_server):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    sign_in(context, live_server, world.mara)
    page = context.new_page()
    page.goto(f"{live_server.url}/methods/washes/aatcc-1-iii/")
    page.get_by_role("link", name="Confirm stroke angle").click()
    page.get_by_role("button", name="Confirm").click()
    expect(page.get_by_role("alert")).to_contain_text("Not confirmed yet")
    page.get_by_label("Where it stands in the lab's copy").fill("LP1-2021, table I")
    page.get_by_role("button", name="Confirm").click()
    expect(page).to_have_url(re.compile(r"/methods/washes/aatcc-1-iii/#figure-\d+$"))
    expect(page.get_by_text("Stroke angle is confirmed: up to 220°.")).to_be_visible()
    assert not Figure.objects.get(owner="procedure:aatcc-1-iii", name="stroke angle").to_confirm
    context.close()


def test_a_wash_of_the_labs_own_by_keyboard(page: Page, context, live_server, people):
    sign_in(context, live_server, people.mara)
    page.goto(f"{live_server.url}/methods/washes/iso-6330-2012-4n/")
    page.get_by_role("link", name="Copy into the lab's own").press("Enter")
    page.get_by_label("Name").fill("Cotton 38")
    page.get_by_label("Wash temperature (°C)").fill("warm")
    page.keyboard.press("Enter")
    expect(page.locator("#div_id_wash_temp_c .error")).to_contain_text("A number such as 40")
    expect(page.get_by_label("Name")).to_have_value("Cotton 38")
    page.get_by_label("Wash temperature (°C)").fill("38,5")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Cotton 38 (lab's own)")
    expect(page.get_by_text("lab's own, after ISO 6330 4N").first).to_be_visible()
    assert str(LaunderingProcedure.objects.get(code="own-cotton-38").wash_temp_c) == "38.5"
