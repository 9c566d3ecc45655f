"""The cutting plan: one plan for all requests of a sample, its page, its sheet, and the places that are kept."""

import io
import re
import uuid
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.urls import reverse
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake import services
from apps.intake.models import CutPlan, Deviation, Sample, Spot
from apps.intake.queries import plan_of
from apps.measuring import services as measuring
from apps.reporting.services import cancel_requests
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for, assemble
from tests.intake.desk import NONSENSE
from tests.intake.issued import issued


def sized(sample: Sample, width: object, length: object) -> Sample:
    Sample.objects.filter(pk=sample.pk).update(width_mm=width, length_mm=length)
    sample.refresh_from_db()
    return sample


class PlanCase(LabTestCase):
    def setUp(self):
        self.job = a_received_job(self)
        self.sample = sized(self.job.samples.get(), 1500, 2000)
        self.request = self.sample.requests.get()
        self.sign_in(self.bea)

    def url(self, name: str = "cutting_plan") -> str:
        return reverse(f"intake:{name}", args=[self.sample.code])

    def add_way(self, **order):
        return services.add_request(sample_id=self.sample.pk, request=a_request_for(**order), by=self.fran, at=NOON)

    def cut(self, request=None, count: int = 3, **more):
        request = request or self.request
        return services.cut_specimens(request_id=request.pk, count=count, by=self.bea, at=NOON, **more)


class PlaceTests(PlanCase):
    def test_what_is_cut_keeps_the_place_the_plan_gave(self):
        planned = [(piece.name, piece.x, piece.y) for piece in plan_of(self.sample).pieces]
        self.cut()
        kept = [(spot.specimen.short_code, spot.x_mm, spot.y_mm) for spot in Spot.objects.order_by("specimen__number")]
        self.assertEqual(kept, planned)
        self.assertEqual((self.request.cut_plan.pattern, self.request.cut_plan.width_mm), ("diagonal", 1500))

    def test_all_requests_share_the_cloth(self):
        self.add_way()
        self.add_way(method="iso-5077-2007-6330-2012")
        pieces = plan_of(self.sample).pieces
        self.assertGreater(len(pieces), 6)
        for n, one in enumerate(pieces):
            for other in pieces[n + 1 :]:
                apart = one.x + one.side <= other.x or other.x + other.side <= one.x
                apart = apart or one.y + one.side <= other.y or other.y + other.side <= one.y
                self.assertTrue(apart, (one, other))

    def test_the_names_on_the_plan_are_the_names_that_are_given(self):
        """Whichever request is cut first."""
        second = self.add_way()
        planned = {way.request.pk: [piece.name for piece in way.pieces] for way in plan_of(self.sample).ways}
        for request in (second, self.request):
            names = [specimen.short_code for specimen in self.cut(request)]
            self.assertEqual(names, planned[request.pk])
        self.assertEqual(planned[self.request.pk], ["A1", "A2", "A3"])

    def test_a_correction_plans_anew_what_is_not_cut_and_tells_of_what_is(self):
        second = self.add_way()
        self.cut()
        before = [(piece.x, piece.y) for piece in plan_of(self.sample).way(self.request.pk).pieces]
        sized(self.sample, 1200, 1700)
        plan = plan_of(self.sample)
        self.assertEqual([(piece.x, piece.y) for piece in plan.way(self.request.pk).pieces], before)
        self.assertTrue(plan.way(second.pk).pieces)
        self.assertIn("A3 was cut at 970–1350 mm of the width", " ".join(plan.troubles))
        self.assertIn("outside the cloth, which is 1200 × 1700 mm by now", " ".join(plan.troubles))
        sized(self.sample, 1480, 2000)
        self.assertEqual(
            plan_of(self.sample).troubles,
            [
                "A3 was cut at 970–1350 mm of the width and 1420–1800 mm of "
                "the length: by the size as corrected it reaches into the margin."
            ],
        )

    def test_too_small_is_reduced_with_a_reason(self):
        sized(self.sample, 900, 1000)
        way = plan_of(self.sample).way(self.request.pk)
        self.assertEqual((way.pattern, len(way.pieces)), ("reduced", 2))
        with self.assertRaises(Refusal) as refusal:
            self.cut()
        self.assertEqual((refusal.exception.code, refusal.exception.field), ("no_room", "outside_reason"))
        self.cut(count=2, fewer_reason="too little cloth")
        self.assertEqual(Spot.objects.count(), 2)

    def test_more_than_fit_is_disclosed_and_their_place_is_not_known(self):
        sized(self.sample, 900, 1000)
        self.cut(outside_reason="taken up to the selvedge")
        self.assertIn("the cutting plan has 2: taken up to the selvedge", Deviation.objects.get().text)
        self.assertEqual(plan_of(self.sample).unplaced, ["A3"])
        self.assertEqual(Spot.objects.count(), 2)

    def test_fewer_lie_where_the_page_showed_them(self):
        """Two of the three places shown are cut: the plan is not made anew for two."""
        shown = [(piece.name, piece.x, piece.y) for piece in plan_of(self.sample).pieces]
        self.cut(count=2, fewer_reason="a hole")
        self.assertEqual([(piece.name, piece.x, piece.y) for piece in plan_of(self.sample).pieces], shown[:2])

    def test_more_than_the_method_asks_for_say_where_they_were_taken(self):
        with self.assertRaises(Refusal):
            self.cut(count=4)
        names = [piece.short_code for piece in self.cut(count=4, outside_reason="beside A3")]
        self.assertEqual((names, plan_of(self.sample).unplaced), (["A1", "A2", "A3", "A4"], ["A4"]))

    def test_what_finds_no_room_one_after_the_other_is_laid_out_together(self):
        """Twelve specimens where there is room for twelve: no way shares a yarn within itself."""
        for _ in range(3):
            self.add_way()
        plan = plan_of(self.sample)
        self.assertEqual([(len(way.pieces), way.pattern) for way in plan.ways], [(3, "diagonal")] * 4)
        self.assertEqual(len({(piece.x, piece.y) for piece in plan.pieces}), 12)
        self.assertIn("All ways together fill the cloth", plan.ways[0].reason)
        for way in plan.ways:
            planned = plan_of(self.sample).way(way.request.pk)
            self.assertTrue(planned.fits)
            self.cut(way.request, shown=planned.mark)
        self.assertEqual(Spot.objects.count(), 12)

    def test_without_a_size_nothing_is_kept(self):
        sized(self.sample, None, 2000)
        self.cut()
        self.assertFalse(CutPlan.objects.exists())

    def test_what_is_cancelled_takes_no_place(self):
        second = self.add_way()
        called_off = {"asked_by": "customer", "reason": "no longer wanted", "by": self.mara, "at": NOON}
        cancel_requests(request_id=self.request.pk, whole_sample=False, **called_off)
        plan = plan_of(self.sample)
        self.assertEqual([piece.name for piece in plan.pieces], ["A1", "A2", "A3"])
        self.assertEqual(plan.way(self.request.pk).numbers, [])
        self.assertContains(self.client.get(self.url()), "cancelled")
        cut = reverse("measuring:cut", args=[self.sample.code, 1])
        self.assertEqual(self.client.get(cut).status_code, 200)
        self.assertContains(self.client.post(cut, {"count": "3"}), "is cancelled", status_code=422)
        self.assertEqual(len(self.cut(second)), 3)

    def test_a_plan_that_changed_meanwhile_is_refused(self):
        mark = plan_of(self.sample).way(self.request.pk).mark
        sized(self.sample, 1400, 2000)
        with self.assertRaises(StalePage):
            self.cut(shown=mark)
        self.cut(shown=plan_of(self.sample).way(self.request.pk).mark)

    def test_the_reason_names_the_specimens(self):
        self.cut()
        self.add_way()
        sized(self.sample, 1500, 2000)
        for way in plan_of(self.sample).ways:
            self.assertNotRegex(way.reason, r"\b\d and \d\b")

    def test_more_areas_than_can_be_planned_around_is_a_sentence(self):
        sized(self.sample, None, None)
        size = {"pattern": "row", "width_mm": 9000, "length_mm": 9000, "side_mm": 10, "by": self.bea, "at": NOON}
        for _ in range(6):
            request = self.add_way()
            CutPlan.objects.create(request=request, **size)
            Spot.objects.bulk_create(Spot(specimen=piece, x_mm=1, y_mm=1) for piece in self.cut(request, count=12))
        sized(self.sample, 9000, 9000)
        self.assertIn("Start a new sample", plan_of(self.sample).way(self.request.pk).trouble)
        self.assertContains(self.client.get(self.url()), "Start a new sample")

    def test_a_locked_request_takes_no_place(self):
        """Past the services, too: cut without a plan, reported, and then somebody writes places."""
        specimen = self.cut(self.add_way(), count=3)[0]
        sized(self.sample, None, None)
        other = self.cut()[0]
        issued(self, self.request)
        size = {"pattern": "row", "width_mm": 1, "length_mm": 1, "side_mm": 1, "by": self.bea, "at": NOON}
        for deed in (
            lambda: Spot.objects.create(specimen=other, x_mm=1, y_mm=1),
            lambda: CutPlan.objects.create(request=self.request, **size),
            lambda: Spot.objects.filter(specimen=specimen).update(x_mm=1),
            lambda: Spot.objects.filter(specimen=specimen).delete(),
            lambda: CutPlan.objects.all().delete(),
        ):
            with self.subTest(), self.assertRaises(Exception) as raised, transaction.atomic():
                deed()
            self.assertIsInstance(raised.exception, IntegrityError)

    def test_the_bench_cuts_and_marks_by_the_plan(self):
        mark = plan_of(self.sample).way(self.request.pk).mark
        pairs = measuring.cut_and_mark(request_id=self.request.pk, count=3, shown=mark, by=self.bea, at=NOON)
        self.assertEqual(len(pairs), 18)
        self.assertEqual(Spot.objects.count(), 3)


class PageTests(PlanCase):
    def test_it_shows_drawing_places_and_pattern(self):
        page = self.client.get(self.url())
        for words in ("<svg", "Diagonal.", "150–530", "200–580", "Cut away from the hand", "selvedge to selvedge"):
            self.assertContains(page, words)
        self.assertContains(page, reverse("measuring:cut", args=[self.sample.code, 1]))

    def test_a_knit_is_slit(self):
        Sample.objects.filter(pk=self.sample.pk).update(construction="knit")
        self.assertContains(self.client.get(self.url()), "slit along one wale")

    def test_an_unknown_size_is_entered_right_there(self):
        sized(self.sample, None, None)
        page = self.client.get(self.url())
        self.assertNotContains(page, 'class="drawing')
        post = {"shown": page.context["form"]["shown"].value(), "width": "150", "length": "2,5", "unit": "cm"}
        refused = self.client.post(self.url("size"), {**post, "length": "zwei", "reason": "measured"})
        self.assertContains(refused, "zwei", status_code=422)
        self.assertRedirects(
            self.client.post(
                self.url("size"), {**post, "length": "200", "reason": "measured", "key": str(uuid.uuid4())}
            ),
            self.url(),
        )
        self.sample.refresh_from_db()
        self.assertEqual((self.sample.width_mm, self.sample.length_mm), (1500, 2000))
        stale = self.client.post(self.url("size"), {**post, "length": "300", "reason": "measured"})
        self.assertContains(stale, "Somebody changed this meanwhile", status_code=422)

    def test_bad_sizes_are_told_beside_the_field(self):
        shown = self.client.get(self.url()).context["form"]["shown"].value()
        for what, text in NONSENSE.items():
            if what not in ("unit", "thousand"):
                with self.subTest(what):
                    data = {"shown": shown, "width": text, "length": "200", "unit": "cm", "reason": "x"}
                    page = self.client.post(self.url("size"), data)
                    self.assertEqual(page.status_code, 422)
                    self.assertTrue(page.context["form"].has_error("width"))
        for data in ({}, {"shown": "x"}, {"shown": shown, "unit": "ell"}):
            self.assertEqual(self.client.post(self.url("size"), data).status_code, 422)
        self.sample.refresh_from_db()
        self.assertEqual(self.sample.width_mm, 1500)

    def test_an_issued_report_holds_the_size(self):
        shown = self.client.get(self.url()).context["form"]["shown"].value()
        issued(self, self.request)
        data = {"shown": shown, "width": "140", "length": "200", "unit": "cm", "reason": "x"}
        self.assertContains(self.client.post(self.url("size"), data), "An amendment opens it", status_code=422)

    def test_garments_have_none(self):
        Sample.objects.filter(pk=self.sample.pk).update(kind="garment")
        self.assertContains(self.client.get(self.url()), "Garments are tested whole")

    def test_who_may(self):
        for name, answers in {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403}.items():
            self.sign_in(getattr(self, name))
            for address in ("cutting_plan", "cutting_plan_pdf"):
                self.assertEqual(self.client.get(self.url(address)).status_code, answers, name)
        self.sign_in(self.lou)
        self.assertEqual(self.client.post(self.url("size")).status_code, 403)
        self.assertNotContains(self.client.get(self.url()), "Correct width and length")

    def test_the_sheet_is_one_page_and_tells_the_same(self):
        sized(self.sample, 1500, 9000)
        self.cut()
        for _ in range(4):
            self.add_way()
        answer = self.client.get(self.url("cutting_plan_pdf"))
        self.assertEqual(answer["Content-Type"], "application/pdf")
        reader = PdfReader(io.BytesIO(answer.content))
        self.assertEqual(len(reader.pages), 1)
        text = reader.pages[0].extract_text()
        for words in (
            self.sample.code,
            "150–530",
            "A1",
            "A15",
            "drawn shortened",
            "Cut away from the hand",
            "selvedge to selvedge",
        ):
            self.assertIn(words, text)
        self.assertNotIn("Quellbach", text)

    def test_the_sheet_without_a_size(self):
        sized(self.sample, None, None)
        text = PdfReader(io.BytesIO(self.client.get(self.url("cutting_plan_pdf")).content)).pages[0].extract_text()
        self.assertIn("not known", text)

    def test_query_counts(self):
        sized(self.sample, 3000, 9000)
        for count in (1, 22):
            with self.subTest(count):
                if count == 22:
                    for _ in range(6):
                        self.cut(self.add_way())
                with self.assertNumQueries(6):
                    self.client.get(self.url())

    def test_the_cut_page_shows_the_plan_and_what_fits(self):
        sized(self.sample, 900, 1000)
        cut = reverse("measuring:cut", args=[self.sample.code, 1])
        page = self.client.get(cut)
        self.assertContains(page, "Only 2 of 3 cuts fit")
        self.assertEqual(page.context["form"]["count"].value(), 2)
        mark = re.search(r'name="plan" value="(\w+)"', page.content.decode())[1]
        sized(self.sample, 1500, 2000)
        stale = self.client.post(cut, {"count": "3", "plan": mark})
        self.assertContains(stale, "The cutting plan has changed", status_code=422)
        fresh = re.search(r'name="plan" value="(\w+)"', stale.content.decode())[1]
        self.assertEqual(self.client.post(cut, {"count": "3", "plan": fresh}).status_code, 302)
        self.assertEqual(Spot.objects.count(), 3)


@pytest.mark.parametrize(
    "viewport", [PHONE, TABLET, DESK, {"width": 720, "height": 450}], ids=lambda v: str(v["width"])
)
def test_the_page_at_every_width(transactional_db, live_server, browser, viewport):
    """Readable, nothing over the edge, nothing that axe calls serious."""
    from axe_playwright_python.sync_playwright import Axe

    cast = assemble()
    with clock.set_to(NOON):
        sample = sized(a_received_job(cast).samples.get(), 1500, 2000)
    context = browser.new_context(viewport=viewport, device_scale_factor=2)
    sign_in(context, live_server, cast.bea)
    page = context.new_page()
    page.goto(f"{live_server.url}/samples/{sample.code}/cutting-plan/")
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    context.close()


def test_the_size_by_keyboard_alone(transactional_db, live_server, page: Page):
    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
    sign_in(page.context, live_server, cast.bea)
    page.goto(f"{live_server.url}/samples/{sample.code}/cutting-plan/")
    for _ in range(40):
        if page.evaluate("document.activeElement.name") == "width":
            break
        page.keyboard.press("Tab")
    page.keyboard.type("150")
    page.keyboard.press("Tab")
    page.keyboard.type("200")
    page.keyboard.press("Enter")
    expect(page.get_by_text("the plan is made anew")).to_be_visible()
    sample.refresh_from_db()
    assert sample.width_mm == Decimal(1500)
