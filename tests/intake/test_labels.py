"""Labels, read back from the paper: the codes with their check characters, the words, the places on the sheet."""

import io
import subprocess
from pathlib import Path

import pytest
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from apps.calc.numbering import check_char, is_valid
from apps.core import labels as drawing
from apps.core.label_stocks import STOCKS
from apps.core.labels import Label, sheets
from apps.intake import services
from apps.intake.models import Sample
from apps.laundering.queries import load_code, load_numbers
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, LabTestCase, a_marked_request, a_received_job, assemble, in_a_load, with_originals
from tests.intake.codes import read_bars, read_square
from tests.intake.desk import NONSENSE

DPI = 300


def rendered(content: bytes, folder: Path) -> Image.Image:
    (folder / "labels.pdf").write_bytes(content)
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", "-png", "-singlefile", folder / "labels.pdf", folder / "labels"],
        check=True,
    )
    return Image.open(folder / "labels.png").convert("L")


def px(mm: float) -> int:
    return round(mm / 25.4 * DPI)


@pytest.mark.once
@pytest.mark.parametrize("code", [*STOCKS])
def test_what_is_printed_is_read_back(code, tmp_path):
    """From the dots of the paper, by readers of our own."""
    stock = STOCKS[code]
    said = "26-00147N-A12" + check_char("26-00147N-A12")
    place = stock.a_sheet - 1
    page = rendered(sheets(stock, [Label(said, "A12", (said, "TM135"), arrow=True)], start=place + 1), tmp_path)
    x, y = stock.corner(place)
    top = page.height - px(y + stock.height)
    label = page.crop((px(x), top, px(x + stock.width), top + px(stock.height)))
    assert is_valid(said)
    bars = drawing.bar_code(said, (stock.width - 4.4) / 25.4 * 72)
    if bars:
        row = label.height - px(2.2 + 2)
        assert read_bars([label.getpixel((n, row)) < 128 for n in range(label.width)]) == said
    below = 0 if not bars else px(min(12, 0.23 * stock.height) + 1.2)
    side = min(label.height - 2 * px(2.2) - below, int(0.45 * px(stock.width - 4.4)))
    assert read_square(label.crop((px(2.2), px(2.2) - 1, px(2.2) + side, px(2.2) + side - 1))) == said


@pytest.mark.once
def test_bars_too_fine_are_left_out():
    said = "26-00147N-A12" + check_char("26-00147N-A12")
    assert drawing.bar_code(said, (STOCKS["a4-65"].width - 4.4) / 25.4 * 72) is None
    assert drawing.bar_code(said, (STOCKS["a4-24"].width - 4.4) / 25.4 * 72)


@pytest.mark.once
@pytest.mark.parametrize("stock", STOCKS.values(), ids=lambda stock: stock.code)
def test_every_place_lies_on_the_paper_and_none_on_another(stock):
    places = [stock.corner(n) for n in range(stock.a_sheet)]
    assert all(0 <= x <= stock.page[0] - stock.width + 0.01 for x, _ in places)
    assert all(0 <= y <= stock.page[1] - stock.height + 0.01 for _, y in places)
    for n, (x, y) in enumerate(places):
        for u, v in places[n + 1 :]:
            assert abs(x - u) >= stock.width - 0.01 or abs(y - v) >= stock.height - 0.01
    assert places[0][1] == max(y for _, y in places)


@pytest.mark.once
def test_a_begun_sheet_is_gone_on_with():
    labels = [Label(f"L-{n}", f"Load {n}") for n in range(5)]
    assert len(PdfReader(io.BytesIO(sheets(STOCKS["a4-8"], labels, start=4))).pages) == 1
    pages = PdfReader(io.BytesIO(sheets(STOCKS["a4-8"], labels, start=5))).pages
    assert ["Load 3" in page.extract_text() for page in pages] == [True, False]
    assert len(PdfReader(io.BytesIO(sheets(STOCKS["roll-57"], labels))).pages) == 5


class PageTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self)
        self.job = self.request.sample.job
        self.code = self.request.sample.code
        self.sign_in(self.bea)

    def url(self, name: str = "labels") -> str:
        return reverse(f"intake:{name}", args=[self.job.number])

    def pdf(self, **asked):
        return self.client.get(self.url("labels_pdf"), {"stock": "a4-24", "pick": [self.code], **asked})

    def words(self, **asked) -> str:
        answer = self.pdf(**asked)
        self.assertEqual(answer["Content-Type"], "application/pdf")
        return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)

    def test_samples_and_specimens_and_no_customer(self):
        text = self.words(pick=[self.code, f"{self.code}1", f"{self.code}2"])
        for words in ("A1", "A2", f"{self.code}1{check_char(self.code + '1')}", "length", "blue twill", "TM135"):
            self.assertIn(words, text)
        for words in ("Quellbach", "Casey", "A3"):
            self.assertNotIn(words, text)

    def test_a_garment_has_no_arrow(self):
        Sample.objects.filter(pk=self.request.sample_id).update(kind="garment")
        self.assertNotIn("length", self.words(pick=[f"{self.code}1"]))

    def test_copies_and_the_first_free_place(self):
        text = self.words(start="23", copies="3")
        self.assertEqual(text.count("blue twill"), 3)

    def test_the_page_ticks_what_is_asked_for(self):
        services.add_sample(
            job_id=self.job.pk, sample=services.SampleDetails("second, invented", "knit"), by=self.fran, at=NOON
        )
        page = self.client.get(self.url(), {"sample": f"{self.job.number}-B"})
        self.assertEqual(page.context["form"]["pick"].value(), [f"{self.job.number}-B"])
        self.assertEqual(len(self.client.get(self.url()).context["form"]["pick"].value()), 5)

    def test_bad_input_is_a_sentence(self):
        self.assertContains(self.pdf(start="25"), "This sheet has 24 places.", status_code=422)
        for name in ("stock", "start", "copies", "pick"):
            for what, text in NONSENSE.items():
                # Left empty, place and number are 1; and Python takes any script's digits for a number.
                if text.strip() or name in ("stock", "pick"):
                    with self.subTest(name=name, what=what):
                        self.assertIn(
                            self.pdf(**{name: text}).status_code, {422} if what != "arabic digits" else {200, 422}
                        )
        self.assertEqual(self.pdf(pick=[f"{self.code}9"]).status_code, 422)
        self.assertEqual(self.client.get(self.url("labels_pdf")).status_code, 422)

    def test_who_may(self):
        for name, answer in {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403}.items():
            self.sign_in(getattr(self, name))
            self.assertEqual((self.client.get(self.url()).status_code, self.pdf().status_code), (answer, answer), name)

    def test_does_not_grow(self):
        for more in (0, 22):
            for _ in range(more):
                details = services.SampleDetails("another, invented", "knit")
                services.add_sample(job_id=self.job.pk, sample=details, by=self.fran, at=NOON)
            with self.subTest(more), self.assertNumQueries(7):
                self.client.get(self.url())

    def test_a_load_has_its_label(self):
        load = in_a_load(self, with_originals(self, self.request))
        self.sign_in(self.lou)
        self.assertContains(self.client.get(f"/laundry/loads/{load.pk}/"), f"/laundry/loads/{load.pk}/label/")
        self.assertEqual(self.client.get(f"/laundry/loads/{load.pk}/label/").status_code, 200)
        answer = self.client.get(f"/laundry/loads/{load.pk}/label.pdf", {"stock": "roll-57"})
        text = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
        self.assertIn(load_code(load.pk), text)
        self.assertEqual(self.client.get(f"/laundry/loads/{load.pk}/label.pdf", {"stock": "x"}).status_code, 422)


@pytest.mark.once
def test_the_code_of_a_load():
    for number in (1, 9, 12, 147, 99_999):
        bare = load_code(number).replace("-", "")
        assert is_valid(bare) and load_numbers(bare)[0] == number
        assert number in load_numbers(f"L{number}") and number in load_numbers(f"LOAD{number}")
    wrong = next(sign for sign in "ABC" if not is_valid(f"L12{sign}"))
    assert load_numbers(f"L12{wrong}") == load_numbers("L0") == load_numbers("12") == []


@pytest.mark.parametrize(
    "viewport", [PHONE, TABLET, DESK, {"width": 720, "height": 450}], ids=lambda v: str(v["width"])
)
def test_the_page_at_every_width(transactional_db, live_server, browser, viewport):
    from axe_playwright_python.sync_playwright import Axe

    from apps.core import clock

    cast = assemble()
    with clock.set_to(NOON):
        job = a_received_job(cast, samples=3)
    context = browser.new_context(viewport=viewport, device_scale_factor=2)
    sign_in(context, live_server, cast.bea)
    page = context.new_page()
    page.goto(f"{live_server.url}/jobs/{job.number}/labels/")
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    context.close()
