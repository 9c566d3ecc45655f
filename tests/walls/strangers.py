"""What is another company's and what is nobody's are one and the same: by name, by search, in bundles, to programs."""

import io
import zipfile
from collections.abc import Callable
from datetime import timedelta

from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext

from apps.accounts import services as accounts
from apps.accounts.models import Customer, Token
from apps.intake.models import Announcement, Job
from apps.reporting.models import Report
from apps.trail.models import TrailEntry
from tests.walls.house import TODAY
from tests.walls.page import ONE_TIME

TOMORROW = TODAY.date() + timedelta(days=1)
NOBODYS_JOB, NOBODYS_REPORT = "26-99999X", "26-99999X-01"


class Strangers:
    def reports_of(self, customer: Customer) -> list[str]:
        return list(Report.objects.filter(job__customer=customer).values_list("number", flat=True))

    def told(self, answer: HttpResponse, *asked: str) -> tuple[int, bytes]:
        """Status and body without what was asked for and what differs each time."""
        body = ONE_TIME.sub(b"", answer.content)
        for word in asked:
            body = body.replace(word.encode(), b"")
        return answer.status_code, body

    def asked_with(self, ask: Callable[[], HttpResponse]) -> tuple[HttpResponse, int]:
        with CaptureQueriesContext(connection) as asked:
            answer = ask()
        return answer, len(asked)

    def test_not_there_and_not_yours_cost_the_same(self):
        """As many questions to the database: how long it takes does not tell either."""
        self.client.force_login(self.casey)
        job = Job.objects.filter(customer=self.dana.customer).first().number
        report = self.reports_of(self.dana.customer)[0]
        pairs = [(f"/{room}/{job}/", f"/{room}/{NOBODYS_JOB}/") for room in ("my", "jobs")]
        ends = ("/", ".pdf", ".csv", ".xlsx", ".json", f"/photos/{'0' * 64}.jpg")
        pairs += [(f"/reports/{report}{end}", f"/reports/{NOBODYS_REPORT}{end}") for end in ends]
        for theirs, nobodys in pairs:
            (one, asked), (other, as_many) = (
                self.asked_with(lambda path=path: self.client.get(path)) for path in (theirs, nobodys)
            )
            with self.subTest(theirs):
                self.assertEqual(asked, as_many)
                self.assertEqual(self.told(one), self.told(other))

    def test_a_bundle_holds_ones_own_only(self):
        for somebody, other in ((self.casey, self.dana), (self.dana, self.casey)):
            self.client.force_login(somebody)
            own, theirs = self.reports_of(somebody.customer), self.reports_of(other.customer)
            ids = [str(pk) for pk in Report.objects.filter(number__in=theirs).values_list("pk", flat=True)]
            for ticked in (theirs, ids, [NOBODYS_REPORT], ["9" * 30, "\0"]):
                answer = self.client.post("/my/reports/zip/", {"report": ticked})
                self.assertEqual((answer.status_code, answer.url), (302, "/my/reports/"))
            answer = self.client.post("/my/reports/zip/", {"report": own + theirs + ids})
            if answer.status_code == 200:
                names = " ".join(zipfile.ZipFile(io.BytesIO(answer.getvalue())).namelist())
                self.assertEqual([number for number in theirs if number in names], [])
                self.assertTrue(any(number in names for number in own), names)

    def test_a_search_for_what_is_theirs_finds_what_a_search_for_nothing_finds(self):
        self.client.force_login(self.casey)
        nothing = "zzqxzz"
        theirs = Job.objects.filter(customer=self.dana.customer, reports__isnull=False).first()
        words = (theirs.number, theirs.purchase_order, "Single jersey", self.reports_of(self.dana.customer)[0])
        for page in ("/my/", "/my/reports/"):
            for word in words:
                for question in ("q", "find", "number"):
                    found, missed = (self.client.get(page, {question: text}) for text in (word, nothing))
                    with self.subTest(page, word=word):
                        echo = (word, word.replace(" ", "+"), word.replace("/", "%2F").replace(" ", "+"))
                        self.assertEqual(self.told(found, *echo), self.told(missed, nothing))

    def test_acts_on_what_is_theirs_are_acts_on_nothing(self):
        self.client.force_login(self.dana)
        before = TrailEntry.objects.count()
        announced, token = Announcement.objects.get(customer=self.casey.customer), Token.objects.get(person=self.casey)
        for theirs, nobodys in (
            (f"/my/announced/{announced.pk}/withdraw/", "/my/announced/987654321/withdraw/"),
            (f"/tokens/{token.pk}/end/", "/tokens/987654321/end/"),
        ):
            one, other = self.client.post(theirs), self.client.post(nobodys)
            self.assertEqual(one.status_code, 404)
            self.assertEqual(self.told(one), self.told(other))
        self.assertEqual(TrailEntry.objects.count(), before)

    def test_programs_are_told_no_more(self):
        _, text = accounts.make_token(name="a walk", ends_on=TOMORROW, by=self.casey, at=TODAY)
        bearer = {"authorization": f"Bearer {text}"}
        theirs = [f"jobs/{job.number}" for job in Job.objects.filter(customer=self.dana.customer)]
        ends = ("", "/json", "/pdf", "/csv", "/xlsx")
        theirs += [f"reports/{number}{end}" for number in self.reports_of(self.dana.customer) for end in ends]
        nothing = self.told(self.client.get(f"/api/1/jobs/{NOBODYS_JOB}", headers=bearer))
        self.assertEqual(nothing[0], 404)
        for path in theirs:
            with self.subTest(path):
                self.assertEqual(self.told(self.client.get(f"/api/1/{path}", headers=bearer)), nothing)
        for path in ("jobs", "reports"):
            body = self.client.get(f"/api/1/{path}", headers=bearer).content.decode()
            self.assertEqual([number for number in self.reports_of(self.dana.customer) if number in body], [])
            self.assertNotIn(self.dana.customer.name, body)

    def test_the_verification_page_tells_a_wrong_code_from_nothing_to_nobody(self):
        self.client.logout()
        number = self.reports_of(self.dana.customer)[0]
        known, unknown = (
            self.told(self.client.get("/verify/", {"number": text, "code": "0" * 12}), text)
            for text in (number, NOBODYS_REPORT)
        )
        self.assertEqual(known, unknown)

    def test_scan_tells_the_lab_and_nobody_else(self):
        """A code that is theirs, that is ours, that is none: one answer."""
        for somebody in (self.casey, self.dana):
            self.client.force_login(somebody)
            answers = {
                self.told(self.client.get("/scan/", {"q": text}))
                for text in (*Job.objects.values_list("number", flat=True), NOBODYS_JOB, "", "1")
            }
            self.assertEqual({status for status, _ in answers}, {403})
            self.assertEqual(len(answers), 1)
