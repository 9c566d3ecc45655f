"""A customer announces a parcel; the front desk receives it with one click and corrects it."""

import uuid
from datetime import date

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from apps.core.errors import Refusal
from apps.intake import services
from apps.intake.models import Announcement, Job, Request
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase
from tests.intake.desk import NONSENSE, a_way, prefixed

URL = "/my/announce/"


def a_parcel(*, samples: int = 1, do: str = "announce", **raw) -> dict[str, str]:
    cloth = {"description": "twill, invented", "kind": "fabric", "construction": "woven", "unit": "cm"}
    data = {"key": str(uuid.uuid4()), "do": do, "parcel-purchase_order": "PO 4711", "parcel-expected_on": "2026-03-05"}
    data |= {"s-TOTAL_FORMS": str(samples), "s-INITIAL_FORMS": "0"}
    for number in range(samples):
        data |= prefixed(f"s-{number}", cloth)
    return data | raw


def announced(cast, **more) -> Announcement:
    sample = {"description": "twill, invented", "kind": "fabric", "construction": "woven", "unit": "cm"}
    details = services.Announced(samples=(sample,), test={"cycles": "5"}, purchase_order="PO 4711", **more)
    return services.announce(details=details, by=cast.casey, at=NOON)


class AnnouncePageTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.casey)

    def test_the_least_is_a_description(self):
        answer = self.client.post(URL, a_parcel(), follow=True)
        self.assertContains(answer, "The laboratory knows what is coming.")
        self.assertContains(answer, "twill, invented")
        row = Announcement.objects.get()
        self.assertEqual((row.customer, row.by, row.expected_on), (self.quellbach, self.casey, date(2026, 3, 5)))
        self.assertEqual(row.test["method"], "")
        entry = TrailEntry.objects.get(stream=f"customer:{self.quellbach.pk}")
        self.assertEqual((entry.kind, entry.actor_name), ("parcel.announced", "Casey Quellbach"))

    def test_the_same_form_twice_is_one_parcel(self):
        data = a_parcel()
        for _ in range(2):
            self.assertEqual(self.client.post(URL, data).status_code, 302)
        self.assertEqual(Announcement.objects.count(), 1)

    def test_one_more_sample_keeps_what_was_typed(self):
        page = self.client.post(URL, a_parcel(do="more", **{"test-cycles": "x"}))
        self.assertEqual(page.status_code, 200)
        self.assertContains(page, "Sample 2")
        self.assertContains(page, 'value="twill, invented"')
        self.assertNotContains(page, "To correct")
        self.assertFalse(Announcement.objects.exists())

    def test_what_is_wrong_is_told_beside_it(self):
        page = self.client.post(
            URL,
            a_parcel(**{"s-0-description": "", "parcel-expected_on": "soon", "test-cycles": "many",
                        "test-length_lower": "4", "test-limits": "these"}),
        )  # fmt: skip
        self.assertEqual(page.status_code, 422)
        told = " ".join(sentence for _, sentence in page.context["problems"])
        for sentence in ("Sample 1, Description", "Parcel, Comes on", "A whole number such as 3", "Is 4 meant as −4?"):
            self.assertIn(sentence, told)
        self.assertContains(page, 'value="many"', status_code=422)

    @pytest.mark.once
    def test_nonsense_in_every_field(self):
        names = [name for name in a_parcel() if name not in ("key", "do")] + [
            f"test-{name}" for name in (*a_way(), "limits_as_typed")
        ]
        for name in names:
            for text in NONSENSE:
                with self.subTest(name=name, text=text[:10]):
                    self.assertIn(self.client.post(URL, a_parcel(**{name: text})).status_code, (200, 302, 422))

    def test_a_broken_form(self):
        for data in ({}, {"do": "announce"}, {"do": "more"}, {"do": "more", "s-TOTAL_FORMS": "9" * 30}):
            self.assertIn(self.client.post(URL, data).status_code, (200, 422))
        self.assertEqual(self.client.post(URL, a_parcel(**{"s-TOTAL_FORMS": "51"})).status_code, 422)
        self.assertFalse(Announcement.objects.exists())

    def test_called_off(self):
        row = announced(self)
        where = f"/my/announced/{row.pk}/withdraw/"
        self.sign_in(self.dana)
        self.assertEqual(self.client.post(where).status_code, 404)
        self.sign_in(self.casey)
        for _ in range(2):
            self.assertContains(self.client.post(where, follow=True), "Called off: twill, invented.")
        self.assertNotContains(self.client.get("/my/"), "Announced, not received yet")
        self.assertEqual(TrailEntry.objects.filter(kind="parcel.withdrawn").count(), 1)

    def test_who_may(self):
        for who, status in ((self.fran, 403), (self.mara, 403), (None, 302), (self.dana, 200)):
            self.sign_in(who)
            self.assertEqual(self.client.get(URL).status_code, status)
        announced(self)
        self.sign_in(self.dana)
        self.assertNotContains(self.client.get("/my/"), "twill, invented")


class ReceiveTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.fran)

    def filled(self, row: Announcement) -> dict[str, str]:
        """The receiving page as it comes filled in, with what the desk adds."""
        page = self.client.get(f"/receiving/new/?announced={row.pk}")
        self.assertEqual(page.status_code, 200)
        self.assertNotContains(page, "To correct")
        data = {"key": str(uuid.uuid4()), "do": "receive", "announced": str(row.pk), "sample": ["0"]}
        data["s0-request"] = ["0"]
        for _, form in page.context["sheet"].forms():
            data |= {field.html_name: field.value() or "" for field in form}
        return data | prefixed("s0-r0", a_way(cycles="5", measured_after="1,5"))

    def test_listed_with_its_customer_and_received_with_one_click(self):
        row = announced(self)
        page = self.client.get("/receiving/")
        self.assertContains(page, f"/receiving/new/?announced={row.pk}")
        self.assertContains(page, "Quellbach Hemden")
        data = self.filled(row)
        self.assertEqual((data["s0-r0-cycles"], data["job-purchase_order"]), ("5", "PO 4711"))
        self.assertEqual(data["s0-description"], "twill, invented")
        self.client.post("/receiving/new/", data)
        job = Job.objects.get()
        row.refresh_from_db()
        self.assertEqual((row.job, job.customer, Request.objects.get().cycles), (job, self.quellbach, 5))
        self.assertNotContains(self.client.get("/receiving/"), "Announced, not here yet")
        self.assertEqual(TrailEntry.objects.get(stream=job.stream).facts["announcement"], row.pk)

    def test_it_becomes_one_job_only(self):
        row = announced(self)
        data = self.filled(row)
        self.client.post("/receiving/new/", data)
        again = self.client.post("/receiving/new/", data | {"key": str(uuid.uuid4())})
        self.assertContains(again, "This was received already, as job", status_code=422)
        self.assertEqual(Job.objects.count(), 1)
        with self.assertRaises(Refusal):
            services.withdraw_announcement(announcement_id=row.pk, by=self.casey, at=NOON)

    def test_of_another_customer_or_called_off(self):
        row = announced(self)
        data = self.filled(row)
        other = self.client.post("/receiving/new/", data | {"job-customer": "Zweitfaden Mode"})
        self.assertContains(other, "announced this parcel. Correct the customer", status_code=422)
        services.withdraw_announcement(announcement_id=row.pk, by=self.casey, at=NOON)
        self.assertContains(self.client.post("/receiving/new/", data), "has withdrawn", status_code=422)
        self.assertFalse(Job.objects.exists())

    def test_announcements_that_are_none(self):
        for text in ("x", "999999", "-1", "9" * 40, "\0"):
            self.assertEqual(self.client.get("/receiving/new/", {"announced": text}).status_code, 200)

    def test_queries_do_not_grow(self):
        def count() -> int:
            with CaptureQueriesContext(connection) as captured:
                self.client.get("/receiving/")
            return len(captured)

        for _ in range(2):
            announced(self)
        two = count()
        for _ in range(20):
            announced(self)
        self.assertEqual(count(), two)

    def test_what_was_announced_stays_as_typed(self):
        row = announced(self)
        for statement in (
            "UPDATE intake_announcement SET remark = 'other'",
            f"UPDATE intake_announcement SET customer_id = {self.zweitfaden.pk}",
            "DELETE FROM intake_announcement",
        ):
            with self.assertRaises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(statement)
        self.assertTrue(Announcement.objects.filter(pk=row.pk).exists())

    def test_only_a_customer_announces(self):
        with self.assertRaisesMessage(Refusal, "Only a customer"):
            services.announce(details=services.Announced(samples=({},), test={}), by=self.fran, at=NOON)
        with self.assertRaisesMessage(Refusal, "at least one"):
            services.announce(details=services.Announced(samples=(), test={}), by=self.casey, at=NOON)
