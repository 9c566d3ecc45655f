"""The bench's pages: who may, what they show, what they keep."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

from django.core import signing
from django.urls import reverse
from django.utils import timezone

from apps.core import clock
from apps.core.tablet import SALT
from apps.intake.models import Deviation, Job, Request, Specimen
from apps.intake.services import JobDetails, SampleDetails, receive_job, send_back
from apps.measuring.models import BenchmarkPair, Reading
from apps.measuring.queries import bench_list
from apps.measuring.services import correct_reading
from apps.methods.queries import points_for
from tests.cast import (
    NOON,
    LabTestCase,
    a_marked_request,
    a_received_job,
    a_request_for,
    after_cycle,
    with_originals,
    with_readings,
)
from tests.measuring.support import issue, pair

ONE = {"count": 1, "fewer_reason": "short"}


class BenchPageTests(LabTestCase):
    def test_what_is_to_do_in_the_order_of_work(self):
        owed = after_cycle(self, with_originals(self, a_marked_request(self, **ONE)))
        marked = a_marked_request(self, **ONE)
        uncut = Request.objects.get(sample__job=a_received_job(self))
        done = with_readings(self, after_cycle(self, with_originals(self, a_marked_request(self, **ONE))), 1, "245")
        back = with_readings(self, after_cycle(self, with_originals(self, a_marked_request(self, **ONE))), 1, "245")
        send_back(request_id=back.pk, to="bench", reason="read A1 again", by=self.mara, at=NOON)
        self.assertEqual(list(bench_list(self.bea)), [back, uncut, marked, owed])
        self.sign_in(self.bea)
        text = self.client.get(reverse("measuring:bench")).content.decode()
        for words in ("read A1 again", "Cut and mark 3 specimens", "before washing", "after cycle 1"):
            self.assertIn(words, text)
        self.assertNotIn(done.sample.code, text)

    def test_what_was_sent_back_is_answered_here(self):
        request = a_marked_request(self, **ONE)
        row = send_back(request_id=request.pk, to="bench", reason="look again", by=self.mara, at=NOON)
        self.sign_in(self.bea)
        address = reverse("intake:answer", args=[row.pk])
        self.assertContains(self.client.get(reverse("measuring:bench")), f'action="{address}"')
        answer = self.client.post(address, {"answer": "read twice, it stands", "next": reverse("measuring:bench")})
        self.assertRedirects(answer, reverse("measuring:bench"))
        self.assertEqual([found.rank for found in bench_list(self.bea)], [3])

    def test_overdue_and_urgent_are_told(self):
        job = a_received_job(self)
        Job.objects.filter(pk=job.pk).update(due_on=NOON.date() - timedelta(days=1), priority="urgent")
        self.sign_in(self.bea)
        page = self.client.get(reverse("measuring:bench"))
        self.assertContains(page, "overdue")
        self.assertContains(page, "urgent")

    def test_an_issued_request_is_gone(self):
        request = a_marked_request(self, **ONE)
        issue(request, by=self.mara)
        self.assertEqual(list(bench_list(self.bea)), [])

    def test_who_may(self):
        for user in (self.fran, self.lou, self.mara, self.bea):
            self.sign_in(user)
            self.assertEqual(self.client.get(reverse("measuring:bench")).status_code, 200)
        self.sign_in(self.casey)
        self.assertEqual(self.client.get(reverse("measuring:bench")).status_code, 403)

    def test_the_number_of_queries_does_not_grow(self):
        self.sign_in(self.bea)
        self.client.get(reverse("measuring:bench"))
        made = 0
        for wanted in (2, 22):
            while made < wanted:
                request = after_cycle(self, with_originals(self, a_marked_request(self, **ONE)))
                send_back(request_id=request.pk, to="bench", reason="look", by=self.mara, at=NOON)
                made += 1
            with self.subTest(wanted), self.assertNumQueries(9):
                self.client.get(reverse("measuring:bench"))

    def test_it_is_paged(self):
        a_received_job(self, samples=51)
        self.sign_in(self.bea)
        page = self.client.get(reverse("measuring:bench"), {"page": "2"})
        self.assertEqual(len(page.context["rows"]), 1)


def a_garment(cast):
    """A shirt of three, invented."""
    asked = a_request_for(method="aatcc-tm150-2018")
    sample = SampleDetails("a shirt, invented", "woven", kind="garment", requests=(asked,))
    job = receive_job(job=JobDetails(cast.quellbach, received_at=NOON), samples=[sample], by=cast.fran, at=NOON)
    return job.samples.get()


class CutPageTests(LabTestCase):
    def setUp(self):
        self.request = Request.objects.get(sample__job=a_received_job(self))
        self.address = reverse("measuring:cut", args=[self.request.sample.code, 1])
        self.sign_in(self.bea)

    def test_shows_the_codes_and_goes_on_to_the_readings(self):
        page = self.client.get(self.address)
        self.assertContains(page, ">A1<")
        self.assertContains(page, "250 mm apart")
        answer = self.client.post(self.address, {"count": "3", "key": str(uuid4())}, follow=True)
        self.assertEqual(
            answer.redirect_chain[0][0], f"/samples/{self.request.sample.code}/readings/?request=1&stage=0"
        )
        self.assertContains(answer, "A1, A2, A3 cut and marked.")
        self.assertContains(self.client.get(self.address), "are cut and marked.")

    def test_the_jobs_number_goes_on_the_cloth_too(self):
        self.assertContains(
            self.client.get(self.address), f'<span class="code">{self.request.sample.job.number}</span>'
        )

    def test_a_garment_is_marked_and_not_cut(self):
        garment = Request.objects.get(sample=a_garment(self))
        self.assertContains(self.client.get(reverse("measuring:bench")), "Mark 3 garments")
        address = reverse("measuring:cut", args=[garment.sample.code, 1])
        page = self.client.get(address)
        for words in ("cut and", "Cut ", "yarns share", "blade"):
            self.assertNotContains(page, words)
        self.assertContains(page, "pins, needles, batteries")
        points = list(points_for("top").values_list("pk", flat=True)[2:4])
        answer = self.client.post(address, {"count": "3", "garment": "top", "points": points}, follow=True)
        self.assertContains(answer, "A1, A2, A3 marked.")
        self.assertContains(answer, "Where the points lie")

    def test_a_second_tap_makes_no_more(self):
        key = str(uuid4())
        for _ in range(2):
            self.assertEqual(self.client.post(self.address, {"count": "3", "key": key}).status_code, 302)
        self.assertEqual(BenchmarkPair.objects.count(), 18)

    def test_bad_input_keeps_what_was_typed(self):
        cases = [("2", ""), ("0", ""), ("13", ""), ("-1", "x"), ("", ""), ("two", ""), ("1e3", ""), ("9" * 10_000, "")]
        cases += [("1", "x" * 301), ("1", "\x00"), ("🧵", "🧵")]
        for count, why in cases:
            with self.subTest(count[:9], why=why[:9]):
                answer = self.client.post(self.address, {"count": count, "fewer_reason": why, "at": "yesterday"})
                self.assertEqual(answer.status_code, 422)
                self.assertContains(answer, 'class="error"', status_code=422)
        answer = self.client.post(self.address, {"count": "1", "fewer_reason": "cloth <b>gone</b>", "at": "never"})
        self.assertContains(answer, "cloth &lt;b&gt;gone&lt;/b&gt;", status_code=422)
        self.assertEqual(Specimen.objects.count(), 0)

    def test_who_may(self):
        for user, status in ((self.lou, 403), (self.fran, 403), (self.casey, 403), (self.mara, 200)):
            self.sign_in(user)
            self.assertEqual(self.client.get(self.address).status_code, status)

    def test_what_is_not_there(self):
        for code, ordinal in (("26-99999X-A", 1), (self.request.sample.code, 2), (self.request.sample.code, 0)):
            self.assertEqual(self.client.get(reverse("measuring:cut", args=[code, ordinal])).status_code, 404)


class SheetPageTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE)
        self.code = self.request.sample.code
        self.sign_in(self.bea)

    def post(self, values: dict[str, str], stage: int = 0, **more):
        cells = {f"pair_{pair(self.request, name).pk}": text for name, text in values.items()}
        data = {"request": "1", "stage": str(stage), "unit": "mm", "key": str(uuid4()), **cells, **more}
        return self.client.post(reverse("measuring:enter", args=[self.code]), data)

    def look(self, **query):
        return self.client.get(reverse("measuring:readings", args=[self.code]), query)

    def test_cells_typed_are_kept_and_the_rest_can_follow(self):
        answer = self.post({"A1 length 1": "250", "A1 length 2": ""})
        self.assertEqual(answer.url, f"/samples/{self.code}/readings/?request=1&stage=0")
        page = self.look()
        self.assertContains(page, "1 reading is saved.")
        self.assertContains(page, "1 of 6")
        self.assertContains(page, "correct<")
        self.assertNotContains(page, f'name="pair_{pair(self.request, "A1 length 1").pk}"')

    def test_errors_stand_beside_their_cells_and_everything_is_kept(self):
        answer = self.post({"A1 length 1": "letters", "A1 length 2": "251.5", "A1 width 1": "-3"}, at="2026-03-02T11")
        for words in ("letters", "251.5", "A length has no sign", "is no length in mm", "2026-03-02T11"):
            self.assertContains(answer, words, status_code=422)
        answer = self.post({"A1 length 1": "letters", "A1 length 2": "251.5", "A1 width 1": "-3"})
        self.assertContains(answer, "Look at the 2 cells marked; nothing is saved yet.", status_code=422)
        self.assertNotContains(answer, "things to correct", status_code=422)
        odd = self.post({"A1 length 1": "letters", "A1 length 2": "2515"})
        self.assertContains(odd, "Look at the 2 cells marked", status_code=422)
        self.assertEqual(Reading.objects.count(), 0)

    def test_a_time_before_the_marks_is_told_beside_the_time(self):
        answer = self.post({"A1 length 1": "250"}, at="2020-01-01T10:00", late_reason="on paper")
        self.assertIn("at", answer.context["form"].errors)

    def test_what_comes_from_paper_a_day_later_says_why(self):
        with clock.set_to(NOON + timedelta(days=1)):
            at = timezone.localtime(NOON).strftime("%Y-%m-%dT%H:%M")
            answer = self.post({"A1 length 1": "250"}, at=at)
            self.assertEqual(set(answer.context["form"].errors), {"late_reason"})
            self.assertContains(answer, 'value="250"', status_code=422)
            self.post({"A1 length 1": "250"}, at=at, late_reason="the network was down")
        late = Deviation.objects.get(kind="late_entry")
        self.assertIn("Reason: the network was down", late.text)
        self.assertEqual(Reading.objects.get().at, NOON)

    def test_cutting_told_a_day_later_says_why(self):
        uncut = Request.objects.get(sample__job=a_received_job(self))
        address = reverse("measuring:cut", args=[uncut.sample.code, 1])
        with clock.set_to(NOON + timedelta(days=1)):
            typed = {"count": "3", "at": timezone.localtime(NOON).strftime("%Y-%m-%dT%H:%M")}
            self.assertContains(self.client.post(address, typed), "entered only now", status_code=422)
            self.assertEqual(self.client.post(address, {**typed, "late_reason": "written on paper"}).status_code, 302)
        self.assertIn("Reason: written on paper", Deviation.objects.get(kind="late_entry").text)

    def test_what_comes_before_reading_is_shown_while_readings_are_due(self):
        self.assertContains(self.look(), "65 ± 5 % RH")
        with_originals(self, self.request, "250")
        self.assertNotContains(self.look(), "65 ± 5 % RH")

    def test_bad_input_in_a_cell(self):
        for text in (
            "x",
            "-1",
            "1e999",
            "NaN",
            "0",
            "250\x00",
            "🧵",
            "9" * 10_000,
            "1000000",
            "0.000001",
            "250.1234567",
            "1,000",
        ):
            with self.subTest(text[:12]):
                answer = self.post({"A1 length 1": text})
                self.assertContains(answer, 'aria-invalid="true"', status_code=422)

    def test_moments_that_cannot_be(self):
        for at in (
            "0001-01-01T00:00",
            "9999-12-31T23:59",
            "2026-13-01T00:00",
            "noon",
            "2026-03-02T11:59",
            "x" * 10_000,
        ):
            with self.subTest(at[:20]):
                self.assertEqual(self.post({"A1 length 1": "250"}, at=at).status_code, 422)
        self.assertEqual(self.post({"A1 length 1": "250"}, at="2026-03-02T12:00").status_code, 302)

    def test_a_post_that_is_not_of_this_page(self):
        self.assertEqual(self.post({"A1 length 1": "250"}, stage=7).status_code, 404)
        address = reverse("measuring:enter", args=[self.code])
        self.assertEqual(self.client.post(address, {}).status_code, 404)
        self.assertEqual(self.client.get(address).status_code, 302)
        answer = self.client.post(address, {"request": "1", "stage": "0", "unit": "ell", "key": "no key"})
        self.assertContains(answer, "ell is not one of the available choices", status_code=422)
        for key in ("pair_x", "pair_99999999999999999999", "pair_-1"):
            answer = self.client.post(address, {"request": "1", "stage": "0", "unit": "mm", key: "250"})
            self.assertContains(answer, "Nothing is typed yet", status_code=422)

    def test_a_slip_asks_once_and_stands_with_a_reason(self):
        answer = self.post({"A1 length 1": "25"})
        self.assertContains(answer, "Was it read in centimetres?", status_code=422)
        self.assertContains(answer, 'name="confirmed"', status_code=422)
        answer = self.post({"A1 length 1": "25"}, confirmed="on")
        self.assertContains(answer, "Say why these values are right", status_code=422)
        self.assertEqual(self.post({"A1 length 1": "25"}, confirmed="on", remark="a small one").status_code, 302)

    def test_two_people_do_not_overwrite_each_other(self):
        with_readings(self, self.request, 0, ["250", "", "", "", "", ""])
        answer = self.post({"A1 length 1": "251", "A1 length 2": "252"})
        self.assertContains(answer, "Already read by Bea Bench", status_code=422)
        self.assertContains(answer, 'value="252"', status_code=422)
        self.assertEqual(Reading.objects.get().text, "250")
        self.assertEqual(self.post({"A1 length 1": "250", "A1 length 2": "252"}).status_code, 302)
        self.assertEqual(Reading.objects.count(), 2)

    def test_after_a_wash_the_change_is_shown(self):
        after_cycle(self, with_originals(self, self.request))
        self.post({"A1 length 1": "244", "A1 length 2": "243", "A1 length 3": "244"}, stage=1)
        page = self.look(request="1", stage="1")
        self.assertContains(page, "−2.4 %")
        self.assertContains(page, "−2.5 %")

    def tap(self, values, who=None, **more):
        token = signing.dumps((who or self.bea).pk, salt=SALT)
        cells = {f"pair_{pair(self.request, name).pk}": text for name, text in values.items()}
        data = {"request": "1", "stage": "0", "unit": "mm", "key": str(uuid4()), "tapped_by": token, **cells, **more}
        return self.client.post(reverse("measuring:enter", args=[self.code]), data, headers={"X-Tap": "late"})

    def test_a_cell_brought_by_the_script_is_answered_with_the_figures(self):
        answer = self.tap({"A1 length 1": "250"})
        self.assertEqual(answer.headers["X-Tapped"], "written")
        told = answer.json()
        self.assertEqual(
            (told["cells"][str(pair(self.request, "A1 length 1").pk)]["value"], told["left"]), ("250 mm", 5)
        )
        with_originals(self, self.request)
        after_cycle(self, self.request)
        told = self.tap({"A1 length 1": "244"}, stage="1").json()
        self.assertEqual((told["means"]["A1 length"], told["overall"]["length"]["change"]), ("−2.4 %", "−2.4 %"))
        hidden = self.tap({"A1 length 2": "244"}, stage="1", before="hidden").json()
        self.assertEqual((hidden["means"], hidden["overall"]), ({}, {}))

    def test_what_the_script_brings_twice_is_one_reading(self):
        key = str(uuid4())
        for _ in range(2):
            self.assertEqual(self.tap({"A1 length 1": "250"}, key=key).headers["X-Tapped"], "written")
        self.assertEqual(Reading.objects.count(), 1)

    def test_what_the_script_brings_is_refused_for_good_or_waits(self):
        for values, more in (
            ({"A1 length 1": "x"}, {}),
            ({"A1 length 1": "25"}, {}),
            ({}, {}),
            ({"A1 length 1": "250"}, {"tapped_by": "x"}),
            ({"A1 length 1": "250"}, {"stage": "9"}),
            ({"A1 length 1": "250"}, {"tapped_at": "9" * 14}),
        ):
            with self.subTest(f"{values} {more}"):
                answer = self.tap(values, **more)
                self.assertEqual((answer.status_code, answer.headers["X-Tapped"]), (422, "refused"))
        self.assertEqual(self.tap({"A1 length 1": "250"}, who=self.lou).status_code, 409)
        self.client.logout()
        self.assertEqual(self.tap({"A1 length 1": "250"}).status_code, 401)
        self.sign_in(self.lou)
        self.assertEqual(self.tap({"A1 length 1": "250"}, who=self.lou).headers["X-Tapped"], "refused")
        self.assertEqual(Reading.objects.count(), 0)

    def test_with_one_press_all_marks_are_the_templates(self):
        self.assertEqual(self.post({}, template="1").status_code, 302)
        self.assertEqual(set(Reading.objects.values_list("unit", "text")), {("pct", "0")})

    def test_a_corrected_value_stays_in_sight(self):
        with_originals(self, self.request)
        old = Reading.objects.get(pair=pair(self.request, "A1 length 1"))
        correct_reading(reading_id=old.pk, text="251", unit="mm", reason="slip", by=self.bea, at=NOON)
        self.assertContains(self.look(request="1", stage="0"), "<s>250 mm</s>")

    def test_a_lost_mark(self):
        which = pair(self.request, "A1 width 3")
        address = reverse("measuring:lose_mark", args=[self.code])
        data = {"request": "1", "stage": "0", "pair": str(which.pk)}
        answer = self.client.post(address, {**data, "reason": " "})
        self.assertContains(answer, "This field is required", status_code=422)
        for wrong in ("x", "99999999999999999999", ""):
            self.assertEqual(self.client.post(address, {**data, "pair": wrong, "reason": "r"}).status_code, 422)
        self.assertEqual(self.client.post(address, {**data, "reason": "bled"}).status_code, 302)
        self.assertContains(self.look(), "mark lost")

    def test_who_may(self):
        for user, look, write in (
            (self.mara, 200, 422),
            (self.lou, 200, 403),
            (self.fran, 200, 403),
            (self.casey, 403, 403),
        ):
            self.sign_in(user)
            self.assertEqual(self.look().status_code, look)
            self.assertEqual(self.post({}).status_code, write)
        self.sign_in(self.lou)
        self.assertNotContains(self.look(), '<input type="text" name="pair_')

    def test_an_issued_request_shows_and_keeps(self):
        issue(self.request, by=self.mara)
        self.assertContains(self.look(), "the report is issued")
        self.assertEqual(self.post({"A1 length 1": "250"}).status_code, 422)

    def test_the_number_of_queries_does_not_grow(self):
        big = a_marked_request(self, count=12)
        for request in (self.request, big):
            address = reverse("measuring:readings", args=[request.sample.code])
            self.client.get(address)
            with self.subTest(request), self.assertNumQueries(17):
                self.client.get(address)

    def test_without_specimens_or_requests(self):
        uncut = Request.objects.get(sample__job=a_received_job(self))
        page = self.client.get(reverse("measuring:readings", args=[uncut.sample.code]))
        self.assertContains(page, "No specimen is cut yet")
        for name in ("measuring:readings", "measuring:results"):
            address = reverse(name, args=[uncut.sample.code])
            for query in ({"request": "9"}, {"request": "x"}, {"request": "\x00"}):
                self.assertEqual(self.client.get(address, query).status_code, 404)
        self.assertEqual(self.look(stage="99").status_code, 404)


class CorrectPageTests(LabTestCase):
    def setUp(self):
        self.request = with_originals(self, a_marked_request(self, **ONE))
        self.reading = Reading.objects.first()
        self.address = reverse("measuring:correct", args=[self.reading.pk])
        self.sign_in(self.bea)

    def test_corrects_and_shows_both(self):
        answer = self.client.post(self.address, {"text": "251", "unit": "mm", "reason": "misread <i>"}, follow=True)
        self.assertContains(answer, "Corrected: 251 mm instead of 250 mm.")
        page = self.client.get(self.address)
        self.assertContains(page, "misread &lt;i&gt;")
        self.assertContains(page, "stands")

    def test_bad_input(self):
        good = {"text": "251", "unit": "mm", "reason": "misread"}
        cases = [{"text": text} for text in ("", "x", "-1", "1e999", "9" * 10_000, "25\x00", "🧵", "250")]
        cases += [{"unit": ""}, {"unit": "ell"}, {"reason": ""}, {"reason": "r" * 10_000}, {"reason": "\x00"}]
        for wrong in cases:
            with self.subTest({name: text[:9] for name, text in wrong.items()}):
                answer = self.client.post(self.address, {**good, **wrong})
                self.assertContains(answer, 'class="error"', status_code=422)
        self.assertEqual(self.client.post(self.address, {}).status_code, 422)
        self.assertEqual(Reading.objects.filter(voided_at__isnull=False).count(), 0)

    def test_a_slip_asks_again(self):
        wrong = {"text": "25", "unit": "mm", "reason": "misread"}
        self.assertContains(self.client.post(self.address, wrong), 'name="confirmed"', status_code=422)
        self.assertEqual(self.client.post(self.address, {**wrong, "confirmed": "on"}).status_code, 302)

    def test_who_may_and_what_is_not_there(self):
        for user, status in ((self.lou, 403), (self.casey, 403), (self.mara, 200)):
            self.sign_in(user)
            self.assertEqual(self.client.get(self.address).status_code, status)
        for number in (0, 987654321, 10**30):
            self.assertEqual(self.client.get(reverse("measuring:correct", args=[number])).status_code, 404)


class ResultPageTests(LabTestCase):
    def test_figures_verdict_curve_and_how_it_came_about(self):
        request = a_marked_request(
            self, cycles=3, measured_after=(1, 3), length_lower=Decimal(-3), length_upper=Decimal(3)
        )
        with_originals(self, request)
        after_cycle(self, request)
        with_readings(self, request, 1, "246")
        with clock.set_to(NOON):
            after_cycle(self, request, cycles=2)
        with_readings(self, request, 3, ["240", "241", "242", "250", "251", "252"] * 3)
        self.sign_in(self.mara)
        page = self.client.get(reverse("measuring:results", args=[request.sample.code]))
        self.assertContains(page, "−3.6 %")
        self.assertContains(page, "+0.4 %")
        self.assertContains(page, "−3.0 % to +3.0 %")
        self.assertContains(page, "fail")
        self.assertContains(page, "100 × (241 − 250) / 250 = −3.6 %")
        self.assertContains(page, "<svg", count=page.content.decode().count("<svg"))
        self.assertContains(page, "all pairs")

    def test_corrected_readings_stay_visible(self):
        request = with_originals(self, a_marked_request(self, **ONE))
        wrong = Reading.objects.first()
        correct_reading(reading_id=wrong.pk, text="251", unit="mm", reason="misread", by=self.bea, at=NOON)
        self.sign_in(self.fran)
        page = self.client.get(reverse("measuring:results", args=[request.sample.code]))
        self.assertContains(page, "Corrected readings")
        self.assertContains(page, "misread")
        self.assertContains(page, "No result yet")

    def test_who_may(self):
        request = a_marked_request(self, **ONE)
        address = reverse("measuring:results", args=[request.sample.code])
        for user, status in ((self.fran, 200), (self.lou, 200), (self.bea, 200), (self.casey, 403), (None, 302)):
            self.sign_in(user)
            self.assertEqual(self.client.get(address).status_code, status)

    def test_the_number_of_queries_does_not_grow(self):
        self.sign_in(self.mara)
        for count, why in ((2, "short"), (12, "")):
            request = with_originals(self, a_marked_request(self, count=count, fewer_reason=why))
            with_readings(self, after_cycle(self, request), 1, "245")
            address = reverse("measuring:results", args=[request.sample.code])
            self.client.get(address)
            with self.subTest(count), self.assertNumQueries(14):
                self.client.get(address)
