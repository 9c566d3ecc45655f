"""The equipment's pages in a real browser: two numbers and Enter, a file without script, three widths, both lights."""

from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from apps.core import clock
from apps.equipment import services
from apps.equipment.models import AtmosphereReading
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, a_calibration
from tests.equipment.support import DAY, HOUR, MINUTE, a_file, a_logger, a_piece, a_room, logged, quarters, taken_in


@pytest.fixture
def world(transactional_db, people):
    """A room with a week of readings, one time outside and one gap; a rule overdue, a washer out of service."""
    now = clock.now()
    with clock.set_to(NOON):
        people.room, people.logger = a_room(people), a_logger(people, interval_months=12, acceptance="± 0.5 °C")
        people.rule = a_piece(people, "rule", "Rule 1", overdue_rule="refuse")
        a_calibration(people, people.rule, due_on=NOON.date() - DAY)
        row = a_calibration(people, people.logger, as_found="+0.3 °C", certificate="C-7")
        services.void_calibration(calibration_id=row.pk, reason="another logger's", by=people.mara, at=NOON)
    rows = quarters(4 * 24 * 7, until=now.replace(microsecond=0, second=0))
    rows = [
        (at, "20.3", "71.0" if 300 <= n < 310 else "64.5") for n, (at, _, _) in enumerate(rows) if not 400 < n < 420
    ]
    content = a_file(rows, "time (UTC),temperature (°C),humidity (%)")
    taken_in(people, people.room, content, instrument_id=people.logger.pk, at=now)
    reading = logged(people, people.room, at=now - MINUTE, instrument_id=people.logger.pk)
    services.void_reading(reading_id=reading.pk, reason="read off the wrong line", by=people.bea, at=now)
    washer = people.washers[0].pk
    services.put_out_of_service(equipment_id=washer, reason="door seal leaks", by=people.lou, at=now - HOUR)
    return people


@pytest.mark.once
def test_reads_well_at_three_widths_and_in_both_lights(world, browser, live_server):
    air, washer = f"/equipment/{world.room.pk}/atmosphere/", f"/equipment/{world.washers[0].pk}/"
    addresses = ["/equipment/", washer, f"{washer}change/", f"{washer}calibrate/", f"/equipment/{world.logger.pk}/"]
    addresses += [f"/equipment/{world.room.pk}/", air, f"{air}?view=week", f"{air}import/", f"{air}tolerance/"]
    addresses += ["/equipment/calendar/", f"/equipment/imports/{world.room.imports.get().pk}/void/", "/equipment/new/"]
    for scheme, width, looked_at in (("light", PHONE, True), ("light", TABLET, False), ("dark", DESK, True)):
        context = browser.new_context(viewport=width, color_scheme=scheme)
        sign_in(context, live_server, world.mara)
        page = context.new_page()
        for address in addresses:
            page.goto(live_server.url + address)
            assert page.evaluate("document.documentElement.scrollWidth") <= width["width"], (address, width)
            if looked_at:
                found = Axe().run(page)
                assert found.violations_count == 0, (address, scheme, found.generate_report())
        context.close()


def test_two_numbers_and_enter(world, page: Page, live_server):
    sign_in(page.context, live_server, world.bea)
    page.goto(f"{live_server.url}/equipment/{world.room.pk}/atmosphere/")
    page.get_by_label("Temperature (°C)").focus()
    page.keyboard.type("20.4")
    page.keyboard.press("Enter")
    page.keyboard.type("65,2")
    page.keyboard.press("Enter")
    expect(page.get_by_text("20.4 °C and 65.2 % RH are logged.")).to_be_visible()
    page.get_by_label("Temperature (°C)").fill("204")
    page.get_by_label("Relative humidity (%)").fill("65")
    page.keyboard.press("Enter")
    expect(page.locator("#div_id_temperature .error")).to_contain_text("each other's place")
    expect(page.get_by_label("Temperature (°C)")).to_have_value("204")
    page.get_by_role("link", name="Seven days").click()
    expect(page.get_by_text("up to 71.0 % RH").first).to_be_visible()
    assert AtmosphereReading.objects.filter(temperature_c="20.4", by=world.bea).count() == 1


def test_a_file_is_taken_in_without_script_on_a_phone(world, browser, live_server, tmp_path: Path):
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    sign_in(context, live_server, world.bea)
    page = context.new_page()
    page.goto(f"{live_server.url}/equipment/{world.room.pk}/atmosphere/")
    page.get_by_role("link", name="Take in a logger's file").click()
    wrong, right = tmp_path / "wrong.csv", tmp_path / "right.csv"
    wrong.write_text("time;temp;rh\n01.02.2020 08:00;20,3;64\n01.02.2020 08:15;20,3;wet")
    right.write_text("time;temp;rh\n01.02.2020 08:00;20,3;64\n01.02.2020 08:15;20,3;65")
    page.get_by_label("File").set_input_files(wrong)
    page.get_by_role("button", name="Look at the file").click()
    expect(page.get_by_text("Nothing can be stored: 1 thing to correct in the file")).to_be_visible()
    expect(page.get_by_text("This is no figure.")).to_be_visible()
    page.get_by_label("File").set_input_files(right)
    page.get_by_role("button", name="Look at the file").click()
    width = page.locator("body").bounding_box()["width"]
    for box in (each.bounding_box() for each in page.locator("main .section").all()):
        assert box["x"] + box["width"] <= width
    page.get_by_role("button", name="Store 2 readings").click()
    expect(page.get_by_text("2 readings of right.csv are stored.")).to_be_visible()
    expect(page.get_by_text("1 Feb 2020").first).to_be_visible()
    context.close()
