"""What the database itself says of jobs, samples, requests and specimens; and who sees which."""

from decimal import Decimal

from django.contrib.auth.models import AnonymousUser
from django.db import IntegrityError, models, transaction
from django.test import SimpleTestCase

from apps.intake import columns, services
from apps.intake.models import ContractReview, Deviation, Job, JobSerial, Request, Sample, SendBack, Specimen
from tests.cast import NOON, LabTestCase, a_person, a_received_job


class ChoicesTests(SimpleTestCase):
    def test_the_lists_beside_the_models_say_the_same(self):
        self.assertEqual(columns.OPENINGS, tuple(Request.OpenedFor.values))
        self.assertEqual(columns.STAGES, tuple(Specimen.Stage.values))
        self.assertEqual(columns.DEVIATIONS, tuple(Deviation.Kind.values))


class DatabaseAgreesTests(LabTestCase):
    """Writing past the services meets a named constraint."""

    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.job = a_received_job(cls)
        cls.sample = cls.job.samples.get()
        cls.request = cls.sample.requests.get()
        cls.specimens = services.cut_specimens(request_id=cls.request.pk, count=3, by=cls.bea, at=NOON)
        cls.deviation = services.deviate(job_id=cls.job.pk, kind="other", text="invented", by=cls.bea, at=NOON)
        cls.sent = services.send_back(request_id=cls.request.pk, to="bench", reason="look", by=cls.mara, at=NOON)

    def refused(self, act) -> None:
        with self.assertRaises(IntegrityError), transaction.atomic():
            act()

    def test_values_that_cannot_be(self):
        for rows, changes in [
            (Job.objects.all(), {"number": ""}),
            (Job.objects.all(), {"priority": "soon"}),
            (Sample.objects.all(), {"kind": "animal"}),
            (Sample.objects.all(), {"construction": "felt"}),
            (Sample.objects.all(), {"construction": "mixed"}),
            (Sample.objects.all(), {"width_mm": 0}),
            (Sample.objects.all(), {"length_mm": -1}),
            (Sample.objects.all(), {"mass_gsm": 0}),
            (Request.objects.all(), {"cycles": 0}),
            (Request.objects.all(), {"cycles": 51}),
            (Request.objects.all(), {"length_lower": 2, "length_upper": 2}),
            (Request.objects.all(), {"width_lower": 3, "width_upper": Decimal("2.99")}),
            (Request.objects.all(), {"lock": "ajar"}),
            (Request.objects.all(), {"opened_for": "limits"}),
            (Request.objects.all(), {"decision_rule": "loose"}),
            (Specimen.objects.all(), {"stage": "dry"}),
            (Specimen.objects.all(), {"cycles_valid": 1}),
            (Specimen.objects.all(), {"stage": "set_aside"}),
            (Specimen.objects.all(), {"set_aside_reason": "lost"}),
            (Deviation.objects.all(), {"judgement": "harmless"}),
            (Deviation.objects.all(), {"judged_by": self.mara}),
            (SendBack.objects.all(), {"answer": "done"}),
            (SendBack.objects.all(), {"answered_by": self.bea, "answered_at": NOON}),
        ]:
            with self.subTest(changes=changes):
                self.refused(lambda rows=rows, changes=changes: rows.update(**changes))

    def test_twice_what_is_there_once(self):
        sample = {"job": self.job, "description": "x", "construction": "knit"}
        order = {"method": self.request.method, "procedure": self.request.procedure, "drying": self.request.drying}
        signed = {"by": self.fran, "at": NOON}
        for act in [
            lambda: Job.objects.create(
                number=self.job.number, customer=self.quellbach, received_at=NOON, received_by=self.fran
            ),
            lambda: Sample.objects.create(letter="A", code="another", **sample),
            lambda: Sample.objects.create(letter="B", code=self.sample.code, **sample),
            lambda: Request.objects.create(sample=self.sample, ordinal=1, measured_after="3", **order),
            lambda: ContractReview.objects.create(
                request=self.request, can_do=True, enough_cloth=True, agreed=True, **signed
            ),
            lambda: Specimen.objects.create(
                request=self.request, number=9, code=self.specimens[0].code, stage_since=NOON
            ),
            lambda: SendBack.objects.create(request=self.request, to="bench", reason="again", **signed),
            lambda: SendBack.objects.create(request=self.request, to="roof", reason="again", **signed),
            lambda: SendBack.objects.create(request=self.request, to="bench", reason="", **signed),
            lambda: Deviation.objects.create(job=self.job, kind="whim", text="x", **signed),
            lambda: Deviation.objects.create(job=self.job, kind="other", text="", **signed),
            lambda: JobSerial.objects.create(year=26, last=5),
        ]:
            self.refused(act)

    def test_what_others_hang_on_is_never_deleted(self):
        for row in (self.quellbach, self.job, self.sample, self.request, self.specimens[0], self.request.method):
            with (
                self.subTest(row=row),
                self.assertRaises((models.ProtectedError, IntegrityError)),
                transaction.atomic(),
            ):
                row.delete()

    def test_nobody_who_wrote_something_is_deleted(self):
        for person in (self.fran, self.bea, self.mara):
            with self.assertRaises(models.ProtectedError), transaction.atomic():
                person.delete()


class VisibleTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.ours = cls.whole(cls.quellbach)
        cls.theirs = cls.whole(cls.zweitfaden)

    @classmethod
    def whole(cls, customer) -> Job:
        job = a_received_job(cls, customer=customer)
        request = job.samples.get().requests.get()
        services.cut_specimens(request_id=request.pk, count=3, by=cls.bea, at=NOON)
        services.deviate(job_id=job.pk, request_id=request.pk, kind="other", text="x", by=cls.bea, at=NOON)
        services.send_back(request_id=request.pk, to="bench", reason="x", by=cls.mara, at=NOON)
        return job

    def seen(self, user) -> dict[str, set[str]]:
        """The numbers of the jobs whose rows this person finds, table by table."""
        paths = {
            Job: "number",
            Sample: "job__number",
            Request: "sample__job__number",
            Specimen: "request__sample__job__number",
            Deviation: "job__number",
            SendBack: "request__sample__job__number",
        }
        return {
            model.__name__: set(model.objects.visible_to(user).values_list(path, flat=True))
            for model, path in paths.items()
        }

    def assert_sees(self, user, *jobs: Job) -> None:
        for table, numbers in self.seen(user).items():
            with self.subTest(table=table):
                self.assertEqual(numbers, {job.number for job in jobs})

    def test_the_lab_sees_all(self):
        for user in (self.fran, self.bea, self.lou, self.mara):
            self.assert_sees(user, self.ours, self.theirs)

    def test_a_customer_sees_the_own_company(self):
        self.assert_sees(self.casey, self.ours)
        self.assert_sees(self.dana, self.theirs)

    def test_nobody_else_sees_anything(self):
        self.assert_sees(AnonymousUser())
        self.assert_sees(a_person("nora", "Nora Norole"))
        for person in (self.fran, self.casey):
            person.is_active = False
            self.assert_sees(person)
