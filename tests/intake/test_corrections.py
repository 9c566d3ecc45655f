"""Putting right what was written at the desk: by the services, and on their pages."""

import uuid
from dataclasses import replace
from decimal import Decimal

from django.urls import reverse

from apps.core.errors import Refusal, RequestIsLocked, StalePage
from apps.intake import services
from apps.intake.models import Deviation, Request
from apps.intake.services import JobDetails, RequestDetails, ReviewDetails, SampleDetails
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase, a_received_job
from tests.intake.desk import NONSENSE
from tests.intake.issued import issued


def job_as_shown(job) -> JobDetails:
    return JobDetails(**{name: getattr(job, name) for name in JobDetails.__dataclass_fields__})


def sample_as_shown(sample) -> SampleDetails:
    names = set(SampleDetails.__dataclass_fields__) - {"place", "requests"}
    return SampleDetails(**{name: getattr(sample, name) for name in names})


def request_as_shown(request) -> RequestDetails:
    values = {name: getattr(request, name) for name in RequestDetails.__dataclass_fields__ if name != "review"}
    return RequestDetails(**{**values, "measured_after": tuple(request.measured_cycles)})


class CorrectionCase(LabTestCase):
    def setUp(self):
        self.job = a_received_job(self, cycles=3, measured_after=(1, 3), length_lower=Decimal(-3))
        self.sample = self.job.samples.get()
        self.request = self.sample.requests.get()
        self.sign_in(self.fran)

    def correct_job(self, *, reason="misread", shown=None, key=None, **changes):
        before = job_as_shown(self.job)
        return services.correct_job(
            job_id=self.job.pk,
            shown=shown or before,
            job=replace(before, **changes),
            reason=reason,
            by=self.fran,
            at=NOON,
            key=key,
        )

    def correct_sample(self, *, reason="misread", **changes):
        before = sample_as_shown(self.sample)
        after = replace(before, **changes)
        return services.correct_sample(
            sample_id=self.sample.pk, shown=before, sample=after, reason=reason, by=self.fran, at=NOON
        )

    def change_request(self, *, reason="the customer wants it so", **changes):
        before = request_as_shown(self.request)
        after = replace(before, **changes)
        return services.change_request(
            request_id=self.request.pk, shown=before, request=after, reason=reason, by=self.fran, at=NOON
        )

    def assert_refused(self, code: str, call, **how):
        with self.assertRaises(Refusal) as refusal:
            call(**how)
        self.assertEqual(refusal.exception.code, code)


class CorrectServiceTests(CorrectionCase):
    def test_a_job_is_put_right_and_the_trail_says_what_it_said(self):
        self.correct_job(contact="Nora", customer=self.zweitfaden)
        self.job.refresh_from_db()
        self.assertEqual((self.job.contact, self.job.customer), ("Nora", self.zweitfaden))
        entry = TrailEntry.objects.get(kind="job.corrected")
        self.assertEqual(entry.facts["changes"]["customer"], ["Quellbach Hemden", "Zweitfaden Mode"])
        self.assertEqual(entry.facts["reason"], "misread")

    def test_what_a_report_prints_needs_a_reason_the_rest_does_not(self):
        self.assert_refused("no_reason", self.correct_job, contact="Nora", reason=" ")
        self.correct_job(notes="calls on Friday", priority="urgent", reason="")
        self.job.refresh_from_db()
        self.assertEqual(self.job.priority, "urgent")

    def test_nothing_changed_is_nothing_written(self):
        self.correct_job()
        self.assertFalse(TrailEntry.objects.filter(kind="job.corrected").exists())

    def test_a_stale_page_is_refused(self):
        shown = job_as_shown(self.job)
        self.correct_job(contact="Nora")
        with self.assertRaises(StalePage):
            self.correct_job(shown=shown, purchase_order="PO 9")

    def test_the_same_form_twice_is_one_correction(self):
        key, shown = uuid.uuid4(), job_as_shown(self.job)
        for _ in range(2):
            self.correct_job(contact="Nora", shown=shown, key=key)
        self.assertEqual(TrailEntry.objects.filter(kind="job.corrected").count(), 1)

    def test_times_that_cannot_be(self):
        from datetime import timedelta

        self.assert_refused("future", self.correct_job, received_at=NOON + timedelta(hours=1))
        self.assert_refused("due_before_receipt", self.correct_job, due_on=(NOON - timedelta(days=2)).date())

    def test_a_sample_is_put_right(self):
        self.correct_sample(width_mm=Decimal("1480.5"), fibre="100 % linen")
        self.sample.refresh_from_db()
        self.assertEqual(self.sample.width_mm, Decimal("1480.5"))
        self.assertEqual(TrailEntry.objects.get(kind="sample.corrected").facts["changes"]["width_mm"], [None, "1480.5"])

    def test_a_sample_that_cannot_be(self):
        self.assert_refused("no_reason", self.correct_sample, fibre="linen", reason="")
        self.assert_refused("no_description", self.correct_sample, description="  ")
        self.assert_refused("mixed", self.correct_sample, construction="mixed")
        self.assert_refused("not_positive", self.correct_sample, width_mm=Decimal(0))
        self.assert_refused("kind", self.correct_sample, kind="garment")

    def test_a_request_is_changed(self):
        self.change_request(length_lower=Decimal(-2), cycles=5, measured_after=(1, 5))
        self.request.refresh_from_db()
        self.assertEqual((self.request.length_lower, self.request.measured_cycles), (-2, [1, 5]))
        self.assertFalse(Deviation.objects.exists(), "work has not begun: nothing to disclose")

    def test_a_change_after_cutting_is_disclosed_and_leaves_the_laundering(self):
        services.cut_specimens(request_id=self.request.pk, count=3, by=self.bea, at=NOON)
        other = type(self.request.drying).objects.exclude(pk=self.request.drying_id).filter(family="aatcc").first()
        self.assert_refused("work_has_begun", self.change_request, drying=other)
        self.change_request(cycles=5, measured_after=(1, 5))
        self.assertEqual(Deviation.objects.get().kind, "change")

    def test_cycles_stay_once_cloth_was_in_water(self):
        specimens = services.cut_specimens(request_id=self.request.pk, count=3, by=self.bea, at=NOON)
        Stage = type(specimens[0]).Stage
        for stage in (Stage.MARKED, Stage.READY, Stage.IN_LOAD):
            services.advance(specimen=specimens[0], to=stage, at=NOON)
        self.assert_refused("work_has_begun", self.change_request, cycles=5, measured_after=(1, 5))
        services.advance(specimen=specimens[0], to=Stage.READY, at=NOON, wetted=True)
        self.assert_refused("work_has_begun", self.change_request, cycles=5, measured_after=(1, 5))
        self.change_request(length_lower=Decimal(-2))

    def test_a_request_that_cannot_be(self):
        self.assert_refused("limits_order", self.change_request, length_upper=Decimal(-4))
        self.assert_refused("limit", self.change_request, length_lower=Decimal(-100))
        self.assert_refused("measured_after", self.change_request, cycles=5)
        self.assert_refused("cycles", self.change_request, cycles=51, measured_after=(51,))

    def test_the_contract_is_looked_at_again(self):
        shown = ReviewDetails(True, True, True)
        after = ReviewDetails(True, True, False, "asks for five cycles")
        services.review_request(request_id=self.request.pk, shown=shown, review=after, by=self.mara, at=NOON)
        review = Request.objects.get(pk=self.request.pk).contract_review
        self.assertEqual((review.by, review.agreed, review.remark), (self.mara, False, "asks for five cycles"))
        with self.assertRaises(StalePage):
            services.review_request(request_id=self.request.pk, shown=shown, review=after, by=self.fran, at=NOON)

    def test_a_sample_is_moved(self):
        key = uuid.uuid4()
        for _ in range(2):
            services.move_sample(sample_id=self.sample.pk, place="rack 2", by=self.bea, at=NOON, key=key)
        self.assertEqual(self.sample.places.count(), 1)
        self.assert_refused("no_place", services.move_sample, sample_id=self.sample.pk, place=" ", by=self.bea, at=NOON)


class CorrectIssuedTests(CorrectionCase):
    """Once the report is issued, what it prints stays; what lies around it goes on."""

    def setUp(self):
        super().setUp()
        issued(self, self.request)

    def test_what_is_printed_is_refused(self):
        for call, changes in [
            (self.correct_job, {"contact": "Nora"}),
            (self.correct_job, {"customer": self.zweitfaden}),
            (self.correct_sample, {"fibre": "linen"}),
            (self.change_request, {"length_lower": Decimal(-2)}),
            (self.change_request, {"cycles": 5, "measured_after": (1, 5)}),
        ]:
            with self.subTest(changes=changes), self.assertRaises(RequestIsLocked):
                call(**changes)
        with self.assertRaises(RequestIsLocked):
            services.review_request(
                request_id=self.request.pk,
                shown=ReviewDetails(True, True, True),
                review=ReviewDetails(True, True, False),
                by=self.fran,
                at=NOON,
            )

    def test_due_date_place_and_another_way_go_on(self):
        self.correct_job(notes="collected", reason="")
        services.move_sample(sample_id=self.sample.pk, place="archive", by=self.fran, at=NOON)
        again = replace(request_as_shown(self.request), review=ReviewDetails(True, True, True))
        services.add_request(sample_id=self.sample.pk, request=again, by=self.fran, at=NOON)
        self.assertEqual(self.sample.requests.count(), 2)

    def test_the_page_says_why(self):
        url = reverse("intake:correct_job", args=[self.job.number])
        page = self.client.get(url)
        data = typed(page.context["form"], contact="Nora", reason="misread")
        response = self.client.post(url, data)
        self.assertContains(response, "An amendment opens it.", status_code=422)


def typed(form, **changes) -> dict[str, str]:
    """A form as the browser would send it, with some fields typed over."""
    data = {}
    for field in form:
        value = field.value()
        if value is not None and value is not False:
            data[field.html_name] = "on" if value is True else value
    return {**data, **{form.add_prefix(name): value for name, value in changes.items()}}


class CorrectPageTests(CorrectionCase):
    def pages(self):
        return {
            "job": (reverse("intake:correct_job", args=[self.job.number]), "contact"),
            "sample": (reverse("intake:correct_sample", args=[self.sample.code]), "fibre"),
            "request": (reverse("intake:change_request", args=[self.sample.code, 1]), "limits_source"),
        }

    def row(self, name):
        row = {"job": self.job, "sample": self.sample, "request": self.request}[name]
        row.refresh_from_db()
        return row

    def test_they_work(self):
        for name, (url, field) in self.pages().items():
            with self.subTest(name=name):
                page = self.client.get(url)
                data = typed(page.context["form"], **{field: "put right"}, reason="misread")
                extra = {"limits": "these", "decision_rule": "simple"} if name == "request" else {}
                response = self.client.post(url, {**data, **extra})
                self.assertEqual(response.status_code, 302, getattr(response.context, "get", lambda _: "")("form"))
                self.assertEqual(getattr(self.row(name), field), "put right")

    def test_an_untouched_form_changes_nothing(self):
        for name, (url, _) in self.pages().items():
            with self.subTest(name=name):
                page = self.client.get(url)
                self.assertEqual(self.client.post(url, typed(page.context["form"])).status_code, 302)
        kinds = set(TrailEntry.objects.values_list("kind", flat=True))
        self.assertFalse(kinds & {"job.corrected", "sample.corrected", "request.changed"})

    def test_a_received_time_with_seconds_stays_to_the_second(self):
        from datetime import timedelta

        moment = NOON - timedelta(seconds=3725)
        self.correct_job(received_at=moment)
        url = self.pages()["job"][0]
        data = typed(self.client.get(url).context["form"], contact="Nora", reason="misread")
        self.client.post(url, data)
        self.job.refresh_from_db()
        self.assertEqual((self.job.contact, self.job.received_at), ("Nora", moment))

    def test_a_stale_page_keeps_what_was_typed_and_shows_the_rest_anew(self):
        url = self.pages()["job"][0]
        data = typed(self.client.get(url).context["form"], purchase_order="PO 9", reason="misread")
        self.correct_job(contact="Nora from the other desk")
        response = self.client.post(url, data)
        self.assertContains(response, "Somebody changed this meanwhile.", status_code=422)
        form = response.context["form"]
        self.assertEqual(form["purchase_order"].value(), "PO 9")
        self.assertEqual(form["contact"].value(), "Nora from the other desk")
        self.assertEqual(form.meanwhile, ["Contact: Nora from the other desk"])
        self.assertEqual(self.client.post(url, typed(form)).status_code, 302)
        self.job.refresh_from_db()
        self.assertEqual((self.job.contact, self.job.purchase_order), ("Nora from the other desk", "PO 9"))

    def test_a_stale_page_on_the_same_field_keeps_the_typed_one_and_tells_the_other(self):
        url = self.pages()["job"][0]
        data = typed(self.client.get(url).context["form"], contact="mine", reason="misread")
        self.correct_job(contact="theirs")
        form = self.client.post(url, data).context["form"]
        self.assertEqual((form["contact"].value(), form.meanwhile), ("mine", ["Contact: theirs"]))

    def test_a_stale_sample_and_a_stale_request(self):
        for name, (url, field) in self.pages().items():
            if name == "job":
                continue
            page = self.client.get(url)
            data = typed(page.context["form"], **{field: "mine"}, reason="misread")
            data |= {"limits": "these", "decision_rule": "simple"} if name == "request" else {}
            if name == "sample":
                self.correct_sample(colour="blue", bleeds_or_sheds=True)
            else:
                self.change_request(width_lower=Decimal("-2.5"))
            with self.subTest(name=name):
                response = self.client.post(url, data)
                self.assertContains(response, "Somebody changed this meanwhile.", status_code=422)
                form = response.context["form"]
                self.assertEqual(form[field].value(), "mine")
                if name == "sample":
                    self.assertEqual(form["colour"].value(), "blue")
                    self.assertIs(form["bleeds_or_sheds"].value(), True)
                else:
                    self.assertEqual(form["width_lower"].value(), "−2.5")

    def test_a_sealed_field_that_was_tampered_with(self):
        for name, (url, field) in self.pages().items():
            for shown in ("", "x", "\x00", "e30:1abcde:xyz", "9" * 30_000):
                with self.subTest(name=name, shown=shown[:8]):
                    data = typed(self.client.get(url).context["form"], **{field: "mine"}, reason="misread", shown=shown)
                    response = self.client.post(url, data)
                    self.assertEqual(response.status_code, 422)
                    self.assertEqual(response.context["form"][field].value(), "mine")
                    self.assertNotEqual(response.context["form"]["shown"].value(), shown)

    def test_the_seal_of_another_row_does_not_fit(self):
        other = a_received_job(self)
        shown = self.client.get(reverse("intake:correct_job", args=[other.number])).context["form"]["shown"].value()
        url = self.pages()["job"][0]
        data = typed(self.client.get(url).context["form"], contact="mine", reason="x", shown=shown)
        self.assertEqual(self.client.post(url, data).status_code, 422)

    def test_nonsense_in_every_field(self):
        for name, (url, _) in self.pages().items():
            form = self.client.get(url).context["form"]
            for what, text in NONSENSE.items():
                data = {**typed(form), **{form.add_prefix(field.name): text for field in form if field.name != "shown"}}
                with self.subTest(name=name, what=what):
                    response = self.client.post(url, data)
                    self.assertEqual(response.status_code, 422)
                    self.assertTrue(response.context["form"].errors)
            with self.subTest(name=name, what="nothing at all"):
                self.assertEqual(self.client.post(url, {}).status_code, 422)

    def test_an_early_promise_asks_for_a_second_look(self):
        url = self.pages()["job"][0]
        data = typed(self.client.get(url).context["form"], due_on="2026-03-02")
        self.assertContains(self.client.post(url, data), "Promise it all the same", status_code=422)
        self.assertEqual(self.client.post(url, {**data, "promise_anyway": "on"}).status_code, 302)

    def test_the_review_has_a_form_of_its_own(self):
        url = reverse("intake:review_request", args=[self.sample.code, 1])
        form = self.client.get(self.pages()["request"][0]).context["review"]
        data = typed(form)
        data.pop("review-agreed")
        self.assertContains(self.client.post(url, data), "say what is still open", status_code=422)
        self.assertEqual(self.client.post(url, {**data, "review-remark": "waits"}).status_code, 302)
        self.assertFalse(Request.objects.get(pk=self.request.pk).contract_review.agreed)

    def test_who_may(self):
        may = {"job": {"fran", "mara"}, "sample": {"fran", "bea", "mara"}, "request": {"fran", "mara"}}
        for name, (url, _) in self.pages().items():
            for person in ("fran", "bea", "lou", "mara", "casey", "dana"):
                self.sign_in(getattr(self, person))
                with self.subTest(name=name, person=person):
                    expected = 200 if person in may[name] else 403
                    self.assertEqual(self.client.get(url).status_code, expected)

    def test_what_is_not_there(self):
        for url in (
            "/jobs/26-99999X/correct/",
            "/samples/26-99999X-A/correct/",
            f"/samples/{self.sample.code}/requests/9/change/",
            f"/samples/{self.sample.code}/requests/99999999999999999999999/change/",
            "/samples/a%00b/correct/",
        ):
            with self.subTest(url=url):
                self.assertEqual(self.client.get(url).status_code, 404)
