"""A parcel received at a phone's width and without script; and each page looked over for those who cannot see it."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

from apps.core import clock
from apps.intake.models import Job
from tests.browser import PHONE, sign_in
from tests.cast import NOON, a_marked_request, assemble


@pytest.fixture
def bare(transactional_db, live_server, browser: Browser) -> Page:
    """Fran at a phone that runs no script."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=False, locale="en-GB", timezone_id="UTC")
    context.set_default_timeout(10_000)
    sign_in(context, live_server, assemble().fran)
    page = context.new_page()
    page.goto(f"{live_server.url}/receiving/")
    yield page
    context.close()


def choose_way(page: Page, prefix: str) -> None:
    page.locator(f"[name={prefix}-method]").select_option(label="AATCC TM135-2018 (specimens 380 mm, marks 250 mm)")
    page.locator(f"[name={prefix}-procedure]").select_option(label="(1) III Normal, warm 41 °C")
    page.locator(f"[name={prefix}-drying]").select_option(label="AATCC A(i) tumble dry, normal")
    page.locator(f"[name={prefix}-limits][value=these]").check()
    page.locator(f"[name={prefix}-length_lower]").fill("3")
    page.locator(f"[name={prefix}-decision_rule][value=simple]").check()
    for tick in ("can_do", "enough_cloth", "agreed"):
        page.locator(f"[name={prefix}-{tick}]").check()


def test_a_job_of_two_samples_without_script(bare: Page):
    bare.get_by_role("link", name="Receive a job").first.click()
    bare.get_by_label("Customer", exact=False).first.fill("Neuweber")
    bare.locator("[name=s0-description]").fill("shirting, invented")
    bare.locator("[name=s0-construction][value=woven]").check()
    bare.locator("[name=s0-width]").fill("150")
    choose_way(bare, "s0-r0")
    bare.get_by_role("button", name="Add a sample").click()
    expect(bare.get_by_role("heading", name="Sample B")).to_be_in_viewport()
    expect(bare.locator("[name=s0-description]")).to_have_value("shirting, invented")
    bare.locator("[name=s1-description]").fill("lining, invented")
    bare.locator("[name=s1-construction][value=knit]").check()
    bare.get_by_role("button", name="Receive the job").click()

    expect(bare.get_by_role("alert")).to_contain_text("Not saved yet: 4 things to correct")
    bare.get_by_role("link", name="No customer has this name.").click()
    expect(bare.locator("[name=job-customer]")).to_be_in_viewport()
    bare.locator("[name=job-new_customer]").check()
    bare.locator("[name=s0-r0-length_lower]").fill("−3")
    bare.locator("[name=s1-r0-length_lower]").fill("−3,5")
    bare.locator("[name=s1-r0-enough_cloth]").check()
    bare.get_by_role("button", name="Receive the job").click()

    expect(bare.get_by_role("heading", name="Acknowledgement of receipt")).to_be_visible()
    job = Job.objects.get()
    assert job.customer.name == "Neuweber"
    assert [str(row.length_lower) for sample in job.samples.all() for row in sample.requests.all()] == [
        "-3.00",
        "-3.50",
    ]
    expect(bare.get_by_text(job.number).first).to_be_visible()


def test_enter_in_a_field_receives_nothing_and_loses_nothing(bare: Page):
    bare.get_by_role("link", name="Receive a job").first.click()
    bare.locator("[name=s0-description]").fill("shirting, invented")
    bare.locator("[name=s0-description]").press("Enter")
    expect(bare.locator("[name=s0-description]")).to_have_value("shirting, invented")
    expect(bare.get_by_role("alert")).to_have_count(0)
    assert not Job.objects.exists()


def test_every_page_for_those_who_cannot_see_it(transactional_db, live_server, context: BrowserContext):
    """No page is wider than a phone, and the accessibility rules find nothing to complain about."""
    cast = assemble()
    with clock.set_to(NOON):
        request = a_marked_request(cast)
    code, number = request.sample.code, request.sample.job.number
    sign_in(context, live_server, cast.mara)
    page = context.new_page()
    page.set_viewport_size(PHONE)
    for address in (
        *("/receiving/", "/receiving/new/", f"/jobs/{number}/acknowledgement/", f"/jobs/{number}/correct/"),
        *(f"/jobs/{number}/add-sample/", f"/samples/{code}/", f"/samples/{code}/correct/"),
        *(f"/samples/{code}/add-request/", f"/samples/{code}/requests/1/change/"),
    ):
        page.goto(live_server.url + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], address
        found = Axe().run(page)
        assert found.violations_count == 0, f"{address}\n{found.generate_report()}"
    page.goto(f"{live_server.url}/receiving/new/")
    page.get_by_role("button", name="Receive the job").click()
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
