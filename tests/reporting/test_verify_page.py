"""The public page: what it tells whom, and what it never tells."""

from datetime import timedelta
from io import BytesIO
from unittest import mock

import pikepdf
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from apps.accounts import services as accounts
from apps.accounts.models import Asked
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.views import verifying
from tests.cast import NOON, LabTestCase
from tests.reporting import sealing
from tests.reporting.support import an_issued_report

URL = reverse("reporting:verify")


class VerifyTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        with sealing.in_use():
            cls.report = an_issued_report(cls)
        cls.file = bytes(cls.report.files.get().blob.content)

    def setUp(self):
        self.sign_in(None)

    def by_code(self, number: str = "", code: str = "", **more):
        asked = {"number": number or self.report.number, "code": code or self.report.verification_code, **more}
        return self.client.get(URL, asked)

    def by_file(self, content: bytes):
        return self.client.post(URL, {"file": SimpleUploadedFile("r.pdf", content)})

    def told(self, answer, status: int = 200) -> str:
        assert answer.status_code == status, answer.content.decode()[-900:]
        return answer.content.decode()

    def test_issued_and_unchanged(self):
        told = self.told(self.by_file(self.file))
        assert "Issued by this laboratory" in told and "The file is unchanged." in told and "In force" in told
        told = self.told(self.by_code())
        assert "Issued by this laboratory" in told and "In force" in told
        assert "The file is unchanged." not in told and "only the file itself can show" in told

    def test_the_code_as_people_type_it(self):
        code = self.report.verification_code
        typed = f" {code[:4].lower()}-{code[4:8]} {code[8:]} "
        assert "In force" in self.told(self.by_code(self.report.number.lower(), typed))

    def test_the_printed_address_asks(self):
        told = Facts.read(self.report.facts).report["verify_at"]
        assert told.endswith(f"/verify/?number={self.report.number}&code={self.report.verification_code}")
        assert "In force" in self.told(self.client.get(told.partition("/verify/")[2] and URL + told[told.index("?") :]))

    def test_changed(self):
        with pikepdf.open(BytesIO(self.file)) as pdf:
            out = BytesIO()
            pdf.save(out)
        for content in (out.getvalue(), self.file + b"\n%"):
            told = self.told(self.by_file(content))
            assert "differs from the file that the laboratory issued" in told and "The file is unchanged" not in told

    def test_amended_replaced_and_withdrawn(self):
        how = {"reason": "the reason is nobody's business", "by": self.mara, "at": NOON}
        services.open_amendment(report_id=self.report.pk, opened_for="wording", **how)
        assert "Being amended" in self.told(self.by_file(self.file))
        revised = services.approve_revision(report_id=self.report.pk, password_ok=True, by=self.mara, at=NOON)
        told = self.told(self.by_file(self.file))
        assert "Superseded" in told and revised.number not in told
        assert "Not ours" in self.told(self.by_code(revised.number, revised.verification_code))
        services.build_pending(limit=9, now=NOON)
        for told in (self.told(self.by_file(self.file)), self.told(self.by_code())):
            assert "Superseded" in told and revised.number in told and "nobody" not in told
        services.withdraw(report_id=revised.pk, **how)
        told = self.told(self.by_code(revised.number, revised.verification_code))
        assert "Withdrawn" in told and "nobody" not in told

    def test_a_wrong_code_and_no_such_report_are_answered_alike(self):
        answers = [
            self.told(self.by_code(code="A" * 12)),
            self.told(self.by_code("26-99999X-01")),
            self.told(self.by_code("26-99999X-01", "no such report")),
        ]
        for told in answers:
            assert "Not ours" in told and self.report.number not in told.split("<form")[0]
        bare = [told.split('id="answer"')[1].split("<form")[0] for told in answers]
        assert bare[0] == bare[1] == bare[2]

    def test_nothing_of_customer_or_results_is_told(self):
        for told in (self.told(self.by_file(self.file)), self.told(self.by_code())):
            for secret in ("Quellbach", "blue twill", "−2.4", "Mara"):
                assert secret not in told

    def test_a_file_that_claims_another_reports_number_learns_nothing(self):
        with sealing.in_use("a stranger") as seal:
            told = self.told(self.by_file(sealing.a_file(seal)))
        assert "Not ours" in told

    def test_bad_input(self):
        for content in (b"x", b"%PDF-1.7\n", b"\x00" * 5000):
            assert "Not ours" in self.told(self.by_file(content))
        assert "This file is empty." in self.told(self.by_file(b""), 422)
        assert "Choose the report" in self.told(self.client.post(URL, {}), 422)
        assert "Choose the report" in self.told(self.client.post(URL, {"file": "text"}), 422)
        for number, code in (("\x00", "x"), ("x" * 10_000, "x"), ("x", "x" * 10_000), ("1e999", "\x00")):
            assert 'class="error"' in self.told(self.by_code(number, code), 422)
        for number in ("-1", "NaN", "\U0001f9fa", "' OR 1=1"):
            assert "Not ours" in self.told(self.by_code(number))
        assert 'class="error"' in self.told(self.client.get(URL, {"number": "26-00147N-01"}), 422)

    def test_too_large(self):
        with mock.patch("apps.reporting.forms.reports.LARGEST", 10):
            assert "larger than any report" in self.told(self.by_file(self.file), 422)

    def test_too_many_questions(self):
        for _ in range(verifying.QUESTIONS):
            assert self.by_code(code="X" * 12).status_code == 200
        answer = self.by_code()
        assert answer.status_code == 429 and "Too many questions" in answer.content.decode()
        assert "In force" not in answer.content.decode()
        assert self.by_code(**{}).status_code == 429 and self.client.get(URL).status_code == 200
        assert self.client.get(URL, {"number": "x", "code": "y"}, REMOTE_ADDR="10.0.0.9").status_code == 200

    def test_what_was_asked_is_forgotten_and_a_clock_that_was_ahead_counts_nothing(self):
        most = {"name": "verify:10.0.0.7", "most": 2, "within": verifying.WITHIN}
        for minutes, too_often in ((0, False), (1, False), (2, True), (9, True), (10, False), (900, False), (3, False)):
            at = NOON + timedelta(minutes=minutes)
            assert accounts.asked_too_often(**most, at=at) is too_often, minutes
        assert accounts.asked_too_often(**most | {"name": "verify:10.0.0.8"}, at=NOON + timedelta(minutes=4)) is False
        assert Asked.objects.count() == 2

    def test_is_never_kept_in_between(self):
        assert "no-store" in self.by_code()["Cache-Control"]

    def test_asks_no_more_of_the_book_for_more_reports(self):
        self.by_code()
        with self.assertNumQueries(6):  # four count the question; the lab, the report
            self.by_code()
        an_issued_report(self, samples=2)
        with self.assertNumQueries(6):
            self.by_code()
