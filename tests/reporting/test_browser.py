"""The manager's and the customer's pages in a real browser: at phone width, in both lights, without script."""

from io import BytesIO
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect
from pypdf import PdfReader

from apps.core import clock
from apps.intake import services as intake
from apps.reporting import services
from apps.reporting.models import Report
from tests.browser import PHONE, sign_in
from tests.cast import NOON, PASSWORD
from tests.reporting.support import LIMITS, a_finished_job, an_issued_report, requests_of


@pytest.fixture
def world(transactional_db, people):
    with clock.set_to(NOON):
        people.job = a_finished_job(people, samples=2, cycles=2, measured_after=(1, 2), **LIMITS)
        first, second = requests_of(people.job)
        about = {"job_id": people.job.pk, "by": people.lou, "at": NOON}
        intake.deviate(**about, kind="wash", text="bath at 35 °C", at_risk=True, request_id=first.pk)
        intake.deviate(**about, kind="other", text="lint on B2", request_id=second.pk)
        people.report = an_issued_report(people, samples=2, cycles=2, measured_after=(1, 2), **LIMITS)
        people.request = requests_of(people.report.job)[0]
        how = {"kind": "work", "title": "bath too hot", "what": "x", "found_on": NOON.date(), "jobs": []}
        people.record = services.record_nonconformity(**how, by=people.mara, at=NOON)
    return people


@pytest.mark.once
def test_reads_well_on_a_phone_in_both_lights(world, browser, live_server):
    pages = {
        world.mara: [
            *("/approvals/", f"/approvals/{world.job.number}/", f"/reports/{world.report.number}/"),
            *(f"/reports/{world.report.number}/{act}/" for act in ("amend", "close-amendment", "withdraw")),
            *("/signatories/", "/lab/logo/", f"/requests/{world.request.pk}/"),
            *("/nonconforming/", "/nonconforming/new/", f"/nonconforming/{world.record.pk}/"),
            f"/verify/?number={world.report.number}&code={world.report.verification_code}",
        ],
        world.casey: ["/my/", f"/my/{world.report.job.number}/", f"/reports/{world.report.number}/"],
    }
    for scheme in ("light", "dark"):
        context = browser.new_context(viewport=PHONE, color_scheme=scheme)
        for user, addresses in pages.items():
            sign_in(context, live_server, user)
            page = context.new_page()
            for address in addresses:
                page.goto(live_server.url + address)
                for details in page.locator("details:not(.who)").all():
                    details.evaluate("element => element.open = true")
                assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], address
                found = Axe().run(page)
                assert found.violations_count == 0, (address, scheme, found.generate_report())
        context.close()


def test_a_report_goes_out_without_script(world, browser, live_server, tmp_path: Path):
    context = browser.new_context(java_script_enabled=False, accept_downloads=True)
    sign_in(context, live_server, world.mara)
    page = context.new_page()
    page.goto(f"{live_server.url}/approvals/")
    page.get_by_role("link", name=world.job.number).first.click()
    page.get_by_label("What it means for the result").fill("the second cycle was within the tolerance")
    page.get_by_role("button", name="Judge this deviation").click()
    expect(page.get_by_text("The deviation is judged.")).to_be_visible()
    page.get_by_label("Your password").fill("not this one at all")
    page.get_by_role("button", name="Approve and issue the report").click()
    expect(page.locator("#div_id_password .error")).to_contain_text("This is not your password.")
    expect(page.locator("input[name=requests]:checked")).to_have_count(2)
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Approve and issue the report").click()
    expect(page.get_by_text("The PDF is being made.")).to_be_visible()
    report = Report.objects.get(job=world.job)
    services.build_pending(limit=5, now=clock.now())

    sign_in(context, live_server, world.casey)
    page.goto(f"{live_server.url}/my/{world.job.number}/")
    with page.expect_download() as download:
        page.get_by_role("link", name="PDF").first.click()
    assert download.value.suggested_filename == f"{report.number}.pdf"
    download.value.save_as(tmp_path / "report.pdf")
    text = " ".join(PdfReader(BytesIO((tmp_path / "report.pdf").read_bytes())).pages[0].extract_text().split())
    for direction, change in (("length", "−2.4"), ("width", "−0.8")):
        expect(page.get_by_text(f"{change} %").first).to_be_visible()
        assert f"{direction} 2 {change} " in text
    context.close()
