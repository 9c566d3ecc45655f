"""One job through all twelve steps in a real browser, by the people whose work it is; then the customer's PDF is read.

Invented: two specimens' worth of cotton poplin, two cycles, measured after each.
"""

import io
import re
from decimal import Decimal

import pytest
from django.core.management import call_command
from playwright.sync_api import BrowserContext, Page, expect
from pypdf import PdfReader

from apps.calc.change import Pair, summarize
from apps.calc.rounding import format_change, round_to
from apps.intake.models import Job, Request
from apps.reporting.models import Report
from apps.trail.queries import broken_link, timeline
from tests.browser import TABLET
from tests.cast import PASSWORD, Cast

# What the bench reads: per stage, the 18 distances in the bench's order (A1 lengths, A1 widths, A2 ...), millimetres.
BEFORE = ["250", "250.5", "249.5", "250", "250", "250"] * 3
AFTER_1 = ["246", "246.5", "245.5", "248.5", "248", "249"] * 3
AFTER_2 = ["244.5", "245", "244", "248", "247.5", "248.5"] * 3


def expected(after: list[str], direction: str) -> str:
    """The reported figure, from the readings as typed by calc alone: what page and PDF must both print."""
    columns = [n for n in range(18) if (n % 6 < 3) == (direction == "length")]
    pairs = [Pair(f"A{n // 6 + 1}", Decimal(BEFORE[n]), Decimal(after[n])) for n in columns]
    return format_change(round_to(summarize(pairs, "ratio_of_means").change, Decimal("0.1")))


class Visitor:
    """Somebody at a browser of their own."""

    def __init__(self, page: Page, url: str) -> None:
        self.page, self.url = page, url

    def go(self, path: str) -> int:
        return self.page.goto(self.url + path).status

    def press(self, name: str | re.Pattern) -> None:
        self.page.get_by_role("button", name=name).first.click()

    def sees(self, text: str | re.Pattern) -> None:
        expect(self.page.get_by_text(text).locator("visible=true").first).to_be_visible()

    def fill(self, **fields: str) -> None:
        for name, value in fields.items():
            self.page.locator(f"[name='{name.replace('__', '-')}']").first.fill(value)


@pytest.fixture
def visitor(browser, live_server):
    """Signs somebody in through the sign-in page, each in a browser of their own."""
    contexts: list[BrowserContext] = []

    def come(username: str, **how) -> Visitor:
        contexts.append(browser.new_context(locale="en-GB", timezone_id="UTC", **how))
        contexts[-1].set_default_timeout(15_000)
        somebody = Visitor(contexts[-1].new_page(), live_server.url)
        somebody.go("/")
        somebody.fill(username=username, password=PASSWORD)
        somebody.press("Sign in")
        return somebody

    yield come
    for context in contexts:
        context.close()


def receive(fran: Visitor) -> str:
    """The front desk logs the job; the acknowledgement is shown. Gives the job's number."""
    expect(fran.page).to_have_url(re.compile("/receiving/"))
    fran.page.get_by_role("link", name="Receive a job").first.click()
    fran.fill(job__customer="Quellbach Hemden", job__purchase_order="QH-2001", job__contact="Casey Quellbach")
    fran.fill(s0__description="Shirting poplin", s0__fibre="100 % cotton", s0__width="150", s0__length="200")
    fran.page.locator("[name=s0-construction][value=woven]").check()
    for name, label in (("method", "aatcc-tm135-2018-small"), ("procedure", "aatcc-1-iii"), ("drying", "aatcc-a-i")):
        choose(fran, f"s0-r0-{name}", label)
    fran.fill(**{"s0__r0__cycles": "2", "s0__r0__measured_after": "1,2"})
    fran.page.locator("[name=s0-r0-limits][value=these]").check()
    for direction in ("length", "width"):
        fran.fill(**{f"s0__r0__{direction}_lower": "-2.0", f"s0__r0__{direction}_upper": "2.0"})
    fran.fill(s0__r0__limits_source="the customer's specification")
    fran.page.locator("[name=s0-r0-decision_rule][value=simple]").check()
    for tick in ("can_do", "enough_cloth", "agreed"):
        fran.page.locator(f"[name=s0-r0-{tick}]").check()
    fran.press("Receive the job")
    expect(fran.page).to_have_url(re.compile("/acknowledgement/"))
    fran.sees("Shirting poplin")
    return re.search(r"/jobs/([^/]+)/", fran.page.url).group(1)


def choose(somebody: Visitor, name: str, code: str) -> None:
    """Pick the catalogue's row of this code from a select."""
    from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod

    model = {"method": TestMethod, "procedure": LaunderingProcedure, "drying": DryingProcedure}[name.rsplit("-", 1)[1]]
    somebody.page.locator(f"[name='{name}']").select_option(str(model.objects.get(code=code).pk))


def cut_and_mark(bea: Visitor, number: str) -> None:
    bea.go("/bench/")
    bea.sees(f"{number}-A")
    bea.go(f"/samples/{number}-A/cut/1/")
    bea.press("They are cut and marked")
    bea.sees("A3")


def read(bea: Visitor, number: str, stage: int, values: list[str]) -> None:
    """A sheet of 18 readings, by keyboard alone: a figure and Enter, in the bench's order."""
    bea.go(f"/samples/{number}-A/readings/?request=1&stage={stage}")
    cells = bea.page.locator("input[name^='pair_']")
    expect(cells).to_have_count(18)
    cells.first.focus()
    for value in values:
        bea.page.keyboard.type(value)
        bea.page.keyboard.press("Enter")
    bea.press("Save the readings")
    expect(bea.page.locator("input[name^='pair_']")).to_have_count(0)


def launder(lou: Visitor, cycle: int) -> None:
    """Made up, weighed, washed, dried and ticked off."""
    lou.go("/laundry/")
    lou.press(re.compile(r"^Make up this load"))
    lou.fill(specimen_mass_g="165", ballast_pieces="12", ballast_mass_g="1640", water_temp_c="40.5")
    lou.fill(detergent_g="66", detergent_lot="L-0526", ballast="type 3")
    lou.page.locator("[name=washer]").select_option(label="W1")
    lou.press(re.compile("start the wash"))
    lou.press(re.compile("end the wash"))
    lou.page.get_by_label("Dryer").select_option(label="D1")
    lou.press(re.compile("Start the drying"))
    for tick in ("lint filter", "cool"):
        lou.page.get_by_role("checkbox", name=re.compile(tick, re.I)).check()
    lou.page.get_by_label(re.compile("exhaust", re.I)).fill("64")
    lou.press(re.compile("Dry and taken out"))
    for _ in range(3):
        lou.press(f"Done: cycle {cycle}")
    expect(lou.page.get_by_role("button", name=re.compile("Done: cycle"))).to_have_count(0)


def approve(mara: Visitor, number: str) -> str:
    """The manager looks, sends back nothing, and approves with the password. Gives the report's number."""
    expect(mara.page).to_have_url(re.compile("/approvals/"))
    mara.page.get_by_role("link", name=re.compile(number)).first.click()
    for direction in ("length", "width"):
        mara.sees(expected(AFTER_2, direction))
    mara.fill(password=PASSWORD)
    mara.press(re.compile("^Approve"))
    expect(mara.page).to_have_url(re.compile(f"/reports/{number}-01/"))
    return f"{number}-01"


@pytest.mark.django_db(transaction=True)
def test_from_the_bolt_of_cloth_to_the_customers_hands(visitor, people: Cast):
    fran, bea, lou = visitor("fran"), visitor("bea"), visitor("lou", viewport=TABLET, java_script_enabled=False)
    number = receive(fran)
    cut_and_mark(bea, number)
    read(bea, number, 0, BEFORE)
    launder(lou, 1)
    read(bea, number, 1, AFTER_1)
    launder(lou, 2)
    read(bea, number, 2, AFTER_2)
    for after in (AFTER_1, AFTER_2):
        bea.go(f"/samples/{number}-A/results/")
        bea.sees(expected(after, "length"))

    mara = visitor("mara")
    report = approve(mara, number)
    call_command("worker", "--once")

    casey = visitor("casey", viewport={"width": 390, "height": 844})
    expect(casey.page).to_have_url(re.compile("/my/"))
    casey.sees(number)
    the_pdf_says_what_the_page_says(casey, report)

    dana = visitor("dana")
    assert dana.page.get_by_text(number).count() == 0
    for path in (
        f"/my/{number}/",
        f"/jobs/{number}/",
        f"/reports/{report}/",
        f"/reports/{report}.pdf",
        f"/reports/{report}.csv",
    ):
        assert dana.go(path) == 404, path

    assert Request.objects.get().lock == "locked"
    everything_left_its_trace(number)
    call_command("check_lab")


def the_pdf_says_what_the_page_says(casey: Visitor, report: str) -> None:
    casey.go(f"/reports/{report}/")
    page_text = casey.page.inner_text("main")
    answer = casey.page.request.get(f"{casey.url}/reports/{report}.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    pdf = PdfReader(io.BytesIO(answer.body()))
    text = "\n".join(page.extract_text() for page in pdf.pages)
    for after in (AFTER_1, AFTER_2):
        for direction in ("length", "width"):
            figure = expected(after, direction)
            assert figure in page_text and figure in text, (figure, direction)
    assert expected(AFTER_2, "length") == "−2.2"  # 100 (2200.5 - 2250) / 2250, beyond the limit of 2.0 %
    assert "fail" in page_text.lower() and "fail" in text.lower()
    assert report in text and f"page {len(pdf.pages)} of {len(pdf.pages)}" in text and "End of report" in text
    csv = casey.page.request.get(f"{casey.url}/reports/{report}.csv").text()
    assert ",-2.2," in csv, csv


def everything_left_its_trace(number: str) -> None:
    job = Job.objects.get(number=number)
    assert broken_link(job.stream) is None
    kinds = [entry.kind for entry in timeline(job.stream)]
    for kind in ("job.received", "specimens.cut", "load.made_up", "load.wash_started", "report.approved"):
        assert kind in kinds, (kind, sorted(set(kinds)))
    assert Report.objects.get().files.count() == 1
