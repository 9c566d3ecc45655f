"""The front desk's list: what came in, whether it is late, how far it is, and what the manager sent back."""

from dataclasses import replace
from datetime import timedelta

from django.urls import reverse

from apps.core import clock
from apps.intake import services
from apps.intake.models import Job, Specimen
from apps.intake.services import JobDetails, SampleDetails
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for
from tests.intake.desk import NONSENSE
from tests.intake.issued import issued, opened

URL = "/receiving/"
TODAY = NOON.date()


class ListCase(LabTestCase):
    def setUp(self):
        self.sign_in(self.fran)

    def receive(self, *, cloth="blue twill, invented", ways=1, **job) -> Job:
        sample = SampleDetails(cloth, "woven", requests=(a_request_for(),) * ways)
        details = JobDetails(**{"customer": self.quellbach, "received_at": NOON, **job})
        return services.receive_job(job=details, samples=[sample], by=self.fran, at=NOON)

    def rows(self, query: str = "") -> dict:
        response = self.client.get(URL + query)
        self.assertEqual(response.status_code, 200)
        return {row.job.number: row for row in response.context["rows"]}


class ListPageTests(ListCase):
    def test_an_empty_book(self):
        self.assertContains(self.client.get(URL), "Receive the first parcel to begin.")

    def test_newest_first(self):
        numbers = [self.receive().number for _ in range(3)]
        self.assertEqual(list(self.rows()), numbers[::-1])

    def test_late_is_told_by_word_and_shape(self):
        late = self.receive(due_on=TODAY)
        on_time = self.receive(due_on=TODAY + timedelta(days=5))
        never = self.receive()
        rows = self.rows()
        self.assertTrue(rows[late.number].due_today and not rows[late.number].late)
        with clock.set_to(NOON + timedelta(days=1)):
            rows = self.rows()
            self.assertContains(self.client.get(URL), "late</span>")
        self.assertEqual([rows[job.number].late for job in (late, on_time, never)], [True, False, False])
        issued(self, late.samples.get().requests.get())
        with clock.set_to(NOON + timedelta(days=1)):
            self.assertFalse(self.rows("?show=all")[late.number].late, "what is reported is late no more")

    def test_how_far_it_is(self):
        job = self.receive(ways=2)
        first, second = job.samples.get().requests.all()
        self.assertEqual(self.rows()[job.number].marks, [("open", "2 to be cut")])
        pieces = services.cut_specimens(request_id=first.pk, count=3, by=self.bea, at=NOON)
        services.advance(specimen=pieces[0], to=Specimen.Stage.MARKED, at=NOON)
        marks = [("open", "1 to be cut"), ("cut", "2 to be marked"), ("marked", "1 to be read before washing")]
        self.assertEqual(self.rows()[job.number].marks, marks)
        report = issued(self, first)
        self.assertEqual(self.rows()[job.number].marks, [("open", "1 to be cut"), ("issued", "1 reported")])
        opened(self, report, "limits")
        self.assertIn(("amending", "1 open for an amendment"), self.rows()[job.number].marks)
        issued(self, second)
        self.assertIn(job.number, self.rows())

    def test_what_is_not_agreed_is_told(self):
        review = services.ReviewDetails(True, True, False, "waits")
        sample = SampleDetails("x", "woven", requests=(replace(a_request_for(), review=review),))
        job = services.receive_job(
            job=JobDetails(self.quellbach, received_at=NOON), samples=[sample], by=self.fran, at=NOON
        )
        self.assertIn(("triangle", "1 not agreed yet"), self.rows()[job.number].marks)

    def test_open_and_all(self):
        done, undone, bare = self.receive(), self.receive(), self.receive(ways=0)
        issued(self, done.samples.get().requests.get())
        self.assertEqual(set(self.rows()), {undone.number, bare.number})
        self.assertEqual(set(self.rows("?show=all")), {done.number, undone.number, bare.number})
        self.assertEqual(set(self.rows("?show=nonsense")), {undone.number, bare.number})
        sample = bare.samples.get()
        asked = services.add_request(sample_id=sample.pk, request=a_request_for(), by=self.fran, at=NOON)
        self.assertEqual(set(self.rows()), {undone.number, bare.number})
        issued(self, asked)
        self.assertEqual(set(self.rows()), {undone.number})

    def test_found_by_parts_of_what_is_written(self):
        one = self.receive(purchase_order="PO 4711", cloth="crêpe, invented")
        two = self.receive(customer=self.zweitfaden)
        for text, found in [
            (one.number, {one}),
            (one.number.lower(), {one}),
            (one.number.replace("-", ""), {one}),
            (one.number[:8], {one}),
            ("26-", {one, two}),
            ("quell", {one}),
            ("MODE zweit", {two}),
            ("4711", {one}),
            ("crêpe", {one}),
            ("twill", {two}),
            ("twill quell", set()),
            ("%", set()),
            ("_", set()),
            ("'; DROP TABLE intake_job; --", set()),
        ]:
            with self.subTest(text=text):
                response = self.client.get(URL, {"q": text})
                self.assertEqual({row.job for row in response.context["rows"]}, found)

    def test_nothing_found_is_said(self):
        self.receive()
        self.assertContains(self.client.get(URL, {"q": "velvet"}), "Nothing found")

    def test_nonsense_asked_for(self):
        self.receive()
        for text in NONSENSE.values():
            with self.subTest(text=text[:20]):
                self.assertEqual(self.client.get(URL, {"q": text, "show": text, "page": text}).status_code, 200)
        self.assertEqual(self.client.get(URL, {"q": "a " * 5000}).status_code, 200)

    def test_pages_of_fifty(self):
        for _ in range(51):
            a_received_job(self)
        self.assertEqual(len(self.rows()), 50)
        self.assertEqual(len(self.rows("?page=2")), 1)
        self.assertContains(self.client.get(URL + "?q=26&page=1"), "?q=26&amp;page=2")

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "mara"):
            self.sign_in(getattr(self, name))
            response = self.client.get(URL)
            self.assertEqual(response.status_code, 200)
            self.assertEqual("Receive a job" in response.content.decode(), name in ("fran", "mara"))
        for name in ("casey", "dana"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.client.get(URL).status_code, 403)
        self.sign_in(None)
        self.assertEqual(self.client.get(URL).status_code, 302)

    def test_only_to_be_read(self):
        self.assertEqual(self.client.post(URL).status_code, 405)


class QueryCountTests(ListCase):
    """The same number of queries for two rows and for twenty-two."""

    def fill(self, number: int) -> None:
        for _ in range(number):
            job = self.receive(ways=2)
            request = job.samples.get().requests.first()
            services.cut_specimens(request_id=request.pk, count=3, by=self.bea, at=NOON)
            services.send_back(request_id=request.pk, to="front_desk", reason="look", by=self.mara, at=NOON)

    def test_it_does_not_grow(self):
        for number in (2, 20):
            self.fill(number)
            with self.subTest(rows=Job.objects.count()), self.assertNumQueries(9):
                self.client.get(URL)
        self.assertEqual(len(self.rows()), 22)


class AnswerTests(ListCase):
    def setUp(self):
        super().setUp()
        self.request = self.receive().samples.get().requests.get()
        self.sent = self.send("front_desk")
        self.url = reverse("intake:answer", args=[self.sent.pk])

    def send(self, to: str, request=None):
        about = {"request_id": (request or self.request).pk, "to": to, "reason": "which issue?"}
        return services.send_back(**about, by=self.mara, at=NOON)

    def test_the_list_shows_it_and_takes_the_answer(self):
        page = self.client.get(URL)
        self.assertContains(page, "Sent back to the front desk")
        self.assertContains(page, "which issue?")
        response = self.client.post(self.url, {"answer": "issue 3", "next": URL})
        self.assertRedirects(response, URL)
        self.sent.refresh_from_db()
        self.assertEqual((self.sent.answer, self.sent.answered_by), ("issue 3", self.fran))
        self.assertNotContains(self.client.get(URL), "Sent back to the front desk")

    def test_what_is_no_answer_is_said_and_kept(self):
        for text in ("", "   ", "x" * 501, "a\x00b"):
            with self.subTest(text=text[:3]):
                response = self.client.post(self.url, {"answer": text, "next": URL})
                self.assertEqual(response.status_code, 422)
                self.assertTrue(response.context["form"].has_error("answer"))
                self.assertEqual(response.context["form"]["answer"].value(), text)
        self.sent.refresh_from_db()
        self.assertIsNone(self.sent.answered_at)

    def test_a_second_answer_is_refused(self):
        self.client.post(self.url, {"answer": "issue 3"})
        self.assertContains(self.client.post(self.url, {"answer": "issue 4"}), "already answered", status_code=422)

    def test_it_leads_nowhere_else(self):
        sample = reverse("intake:sample", args=[self.request.sample.code])
        response = self.client.post(self.url, {"answer": "x", "next": "https://elsewhere.example/"})
        self.assertEqual(response.url, sample)

    def test_each_room_answers_what_was_sent_to_it(self):
        may = {"front_desk": {"fran", "mara"}, "bench": {"bea", "mara"}, "laundry": {"lou", "mara"}}
        for to, names in may.items():
            sent = self.send(to, request=self.receive().samples.get().requests.get())
            for name in ("fran", "bea", "lou", "mara", "casey", "dana"):
                self.sign_in(getattr(self, name))
                with self.subTest(to=to, name=name):
                    status = self.client.post(reverse("intake:answer", args=[sent.pk]), {"answer": ""}).status_code
                    self.assertEqual(status, 422 if name in names else 403)

    def test_what_is_not_there(self):
        self.assertEqual(self.client.post("/send-backs/987654321/answer/", {"answer": "x"}).status_code, 404)
        self.assertEqual(self.client.post(f"/send-backs/{'9' * 40}/answer/", {"answer": "x"}).status_code, 404)
        self.assertEqual(self.client.get(self.url).status_code, 405)
