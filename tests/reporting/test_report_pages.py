"""An issued report: its page, PDF and CSV, all from the frozen facts; who sees it."""

import csv
from datetime import timedelta
from io import BytesIO, StringIO
from urllib.parse import quote

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from apps.accounts.models import Customer, Lab, User
from apps.calc.rounding import format_change
from apps.core.jsontext import sha256
from apps.measuring.queries import results_of
from apps.reporting import services
from apps.reporting.facts import Facts
from apps.reporting.pdf import build
from tests.cast import NOON, LabTestCase
from tests.reporting import paper
from tests.reporting.support import LIMITS, an_issued_report, requests_of


def text_of(content: bytes) -> str:
    return " ".join(" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(content)).pages)


class IssuedTestCase(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.report = an_issued_report(cls, samples=2, cycles=3, measured_after=(1, 3), **LIMITS)

    def get(self, name: str, report=None, **more):
        return self.client.get(reverse(f"reporting:{name}", args=[(report or self.report).number]), **more)

    def page(self, report=None) -> str:
        return self.get("report", report).content.decode()

    def told(self) -> str:
        """What the page says, without the house around it."""
        return self.page().split('<main id="main"')[1].split("<footer")[0]


class SameFiguresTests(IssuedTestCase):
    def test_page_pdf_csv_and_results_agree(self):
        self.sign_in(self.casey)
        page, pdf = self.page(), text_of(self.get("pdf").content)
        told = list(csv.DictReader(StringIO(self.get("csv").content.decode("utf-8-sig"), newline="")))
        requests = requests_of(self.report.job)
        for request, result in zip(requests, results_of(requests).values(), strict=True):
            assert len(result.directions) == 4
            for found in result.directions:
                change = format_change(found.reported)
                assert f"{change} %" in page
                assert f"{found.direction} {found.stage} {change} " in pdf
                (row,) = [
                    row
                    for row in told
                    if (row["row"], row["request"], row["direction"], row["cycle"])
                    == ("result", str(request), found.direction, str(found.stage))
                ]
                assert row["reported_percent"] == str(found.reported)
                assert row["verdict"] == found.verdict.state
            for row in result.rows:
                for reading in row.readings.values():
                    assert f"{reading.mm:.1f}" in page and f"{reading.mm:.1f}" in pdf

    def test_nothing_moves_with_the_tables(self):
        self.sign_in(self.mara)
        before = self.told(), self.get("pdf").content, self.get("csv").content
        Lab.objects.update(address="Elsewhere 9", location="Elsewhere 9")
        Customer.objects.update(address="Nowhere 9", contact="Somebody Else")
        User.objects.filter(pk=self.bea.pk).update(full_name="Beatrice Newname")
        User.objects.filter(pk=self.casey.pk).update(full_name="Casey Newname")
        assert (self.told(), self.get("pdf").content, self.get("csv").content) == before
        self.report.refresh_from_db()
        assert build(Facts.read(self.report.facts)) == before[1]

    def test_names_stay_as_they_were(self):
        Lab.objects.update(name="Another Laboratory")
        Customer.objects.filter(pk=self.quellbach.pk).update(name="Quellbach Nachfolger")
        self.sign_in(self.mara)
        told = self.told()
        assert "Another Laboratory" not in told and "Nachfolger" not in told
        assert "Quellbach Hemden" in told and "This laboratory" in told

    def test_hand_made_facts_have_the_shape_of_frozen_ones(self):
        def shape(value):
            if isinstance(value, dict):
                return {key: shape(item) for key, item in value.items() if key not in ("per_specimen", "curve")}
            return [shape(value[0])] if isinstance(value, list) and value else None

        frozen = Facts.read(self.report.facts).data
        made = paper.facts(samples=2)
        for part in ("report", "lab", "customer", "job", "samples", "loads", "dryings", "people"):
            assert shape(frozen[part]) == shape(made[part]), part
        ours, theirs = shape(made["requests"])[0], shape(frozen["requests"])[0]
        assert {**theirs, "unconfirmed": None} == {**ours, "unconfirmed": None}
        assert set(frozen) == set(made)


class DownloadTests(IssuedTestCase):
    def test_pdf_has_a_name_and_a_mark(self):
        self.sign_in(self.casey)
        answer = self.get("pdf")
        assert answer["Content-Type"] == "application/pdf"
        assert answer["Content-Disposition"] == f'attachment; filename="{self.report.number}.pdf"'
        assert answer["ETag"] == f'"{sha256(answer.content)}"'
        assert "private" in answer["Cache-Control"]
        assert self.get("pdf", headers={"if-none-match": answer["ETag"]}).status_code == 304

    def test_csv(self):
        self.sign_in(self.casey)
        answer = self.get("csv")
        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        assert answer["Content-Disposition"] == f'attachment; filename="{self.report.number}.csv"'
        assert answer.content.startswith("\ufeffreport,row,".encode())

    def test_not_there_until_it_is_made(self):
        report = an_issued_report(self, with_file=False)
        self.sign_in(self.mara)
        assert self.get("pdf", report).status_code == 404
        page = self.page(report)
        assert "The PDF is being made." in page and "Download PDF" not in page
        services.build_pending(limit=5, now=NOON + timedelta(minutes=5))
        assert self.get("pdf", report).status_code == 200
        assert "Download PDF" in self.page(report)


class WhoSeesTests(IssuedTestCase):
    def test_everybody_in_turn(self):
        expected = {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 200, "dana": 404, "nobody": 302}
        for name, status in expected.items():
            self.sign_in(getattr(self, name, None))
            for page in ("report", "pdf", "csv"):
                assert self.get(page).status_code == status, (name, page)

    def test_customer_sees_nothing_before_the_file(self):
        report = an_issued_report(self, with_file=False)
        self.sign_in(self.casey)
        for page in ("report", "pdf", "csv"):
            assert self.get(page, report).status_code == 404

    def test_somebody_who_may_no_longer_sign_in(self):
        User.objects.filter(pk=self.casey.pk).update(is_active=False)
        self.sign_in(self.casey)
        assert self.get("report").status_code == 302

    def test_numbers_that_are_none(self):
        self.sign_in(self.mara)
        for number in ("26-00001X-01", "x" * 500, "🧺", "\x00", "..", "' OR 1=1"):
            for page in ("/", ".pdf", ".csv"):
                assert self.client.get(f"/reports/{quote(number)}{page}").status_code == 404

    def test_read_only(self):
        self.sign_in(self.mara)
        for page in ("report", "pdf", "csv"):
            assert self.client.post(reverse(f"reporting:{page}", args=[self.report.number])).status_code == 405


class StandingTests(IssuedTestCase):
    def revise(self):
        how = {"by": self.mara, "at": NOON}
        services.open_amendment(report_id=self.report.pk, reason="a slip in a word", opened_for="wording", **how)
        return services.approve_revision(report_id=self.report.pk, password_ok=True, **how)

    def test_in_force(self):
        self.sign_in(self.casey)
        assert "in force" in self.page()

    def test_superseded(self):
        revised = self.revise()
        self.sign_in(self.casey)
        page = self.page()
        assert "superseded" in page and "a new revision, which is being made" in page
        assert revised.number not in page
        services.build_pending(limit=5, now=NOON)
        assert revised.number in self.page()
        assert f"This report amends and replaces report {self.report.number}" in self.page(revised)
        assert self.get("pdf").status_code == 200

    def test_withdrawn(self):
        services.withdraw(report_id=self.report.pk, reason="The wrong cloth was tested.", by=self.mara, at=NOON)
        self.sign_in(self.casey)
        page = self.page()
        assert "withdrawn" in page and "The wrong cloth was tested." in page and "Do not use" in page


class QueryTests(IssuedTestCase):
    def test_do_not_grow(self):
        self.sign_in(self.casey)

        def count(report) -> int:
            with CaptureQueriesContext(connection) as captured:
                assert self.get("report", report).status_code == 200
            return len(captured)

        assert count(self.report) == count(an_issued_report(self, samples=6))

    def test_a_list_loads_no_bytes(self):
        self.sign_in(self.casey)
        with CaptureQueriesContext(connection) as captured:
            self.get("report")
        assert not [query for query in captured if '"content"' in query["sql"]]


@pytest.mark.once
def test_facts_of_an_unknown_version_are_refused():
    from apps.reporting.facts.reader import UnknownFacts

    with pytest.raises(UnknownFacts):
        Facts(paper.facts(facts_version=2))
