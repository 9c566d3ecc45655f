"""Jobs, reports and specimens as programs see them."""

import hashlib
import json
from datetime import timedelta
from urllib.parse import quote

from apps.intake import services as intake
from apps.intake.models import Job
from apps.intake.queries import label_code
from apps.reporting.services import withdraw
from tests.accounts.bad import BAD
from tests.api.support import ApiTestCase
from tests.cast import NOON, a_marked_request, a_received_job, in_a_load, out_of_the_load, with_originals, with_readings
from tests.measuring.support import issue
from tests.reporting.support import LIMITS, a_finished_job, an_issued_report, requests_of


class JobsTests(ApiTestCase):
    def numbers(self, person, **query) -> list[str]:
        return [item["number"] for item in self.told(person, "jobs", **query)["items"]]

    def test_own_jobs_only(self):
        own, other = a_received_job(self), a_received_job(self, customer=self.zweitfaden)
        self.assertEqual(self.numbers(self.casey), [own.number])
        self.assertEqual(self.numbers(self.mara), [other.number, own.number])
        self.refused(self.ask(self.casey, f"jobs/{other.number}"), 404, "not_found")

    def test_page_by_page_each_once(self):
        jobs = [a_received_job(self).number for _ in range(5)]
        seen, address = [], "jobs?limit=2&show=all"
        while address:
            page = self.told(self.casey, address)
            seen += [item["number"] for item in page["items"]]
            if len(seen) == 2:
                a_received_job(self)  # what comes in meanwhile moves nothing
            address = page["next"]
        self.assertEqual(seen, jobs[::-1])

    def test_filters(self):
        done = an_issued_report(self).job.number
        going = a_received_job(self, at=NOON + timedelta(days=1))
        Job.objects.filter(pk=going.pk).update(purchase_order="PO 7")
        self.assertEqual(self.numbers(self.casey, show="open"), [going.number])
        self.assertEqual(self.numbers(self.casey, purchase_order="PO 7"), [going.number])
        self.assertEqual(self.numbers(self.casey, purchase_order="PO"), [])
        self.assertEqual(self.numbers(self.casey, received_since="2026-03-03"), [going.number])
        self.assertEqual(self.numbers(self.casey, received_since="2026-03-02"), [going.number, done])

    def test_filters_that_say_nothing(self):
        a_received_job(self)
        other = a_received_job(self, customer=self.zweitfaden)
        for name, values in {
            "limit": ("0", "101", "-1", "1.0", "٣", *BAD),
            "received_since": ("2026-02-30", "0000-01-01", "1999-12-31", "20260302", *BAD),
            "show": BAD,
            "after": (other.number, "26-99999X", *BAD),
            "purchase_order": ("", "\0", "x" * 81),
            "page": ("1",),
        }.items():
            for value in values:
                with self.subTest(name=name, value=value[:20]):
                    response = self.ask(self.casey, "jobs", **{name: value})
                    error = response.json().get("error", {})
                    self.assertEqual((response.status_code, error.get("field")), (422, name), response.content[:300])
        self.refused(self.ask(self.casey, "jobs", limit=["1", "2"]), 422, "twice", "limit")

    def test_one_job_as_its_customer_sees_it(self):
        job = a_finished_job(self, **LIMITS)
        intake.deviate(job_id=job.pk, kind="other", text="lint on A2", by=self.lou, at=NOON)
        Job.objects.filter(pk=job.pk).update(notes="a difficult customer")
        response = self.ask(self.casey, f"jobs/{job.number}")
        told = response.json()
        (sample,) = told["samples"]
        (test,) = sample["tests"]
        self.assertEqual(told["standing"], {"step": "being_reviewed", "words": "Being reviewed"})
        self.assertEqual(test["limits"]["length"], {"lower": "-3.00", "upper": "1.00"})
        self.assertEqual(told["received_at"], "2026-03-02T12:00:00+00:00")
        for secret in ("specimens", "245", "lint on A2", "difficult", self.bea.full_name):
            self.assertNotIn(secret, response.content.decode())

    def test_the_lab_sees_its_specimens(self):
        request = a_marked_request(self)
        told = self.told(self.bea, f"jobs/{request.sample.job.number}")
        pieces = told["samples"][0]["tests"][0]["specimens"]
        self.assertEqual([piece["stage"] for piece in pieces], ["marked"] * 3)
        self.assertEqual(pieces[0]["standing"], "original readings due")
        self.told(self.bea, pieces[0]["href"])

    def test_it_does_not_grow(self):
        for _ in range(2):
            a_marked_request(self)
        counts = {"jobs?limit=100": 7, f"jobs/{Job.objects.first().number}": 8}
        self.told(self.mara, "me")
        for address, count in counts.items():
            with self.subTest(address=address), self.assertNumQueries(count):
                self.told(self.mara, address)
        for _ in range(20):
            a_marked_request(self)
        for address, count in counts.items():
            with self.subTest(address=address), self.assertNumQueries(count):
                self.told(self.mara, address)


class ReportsTests(ApiTestCase):
    def test_own_reports_only_and_once_the_file_is_there(self):
        own = an_issued_report(self)
        other = an_issued_report(self, customer=self.zweitfaden)
        numbers = [item["number"] for item in self.told(self.casey, "reports")["items"]]
        self.assertIn(own.number, numbers)
        self.assertNotIn(other.number, numbers)
        for address in ("", "/json", "/pdf", "/csv"):
            self.refused(self.ask(self.casey, f"reports/{other.number}{address}"), 404, "not_found")

    def test_its_files_are_what_it_says(self):
        report = an_issued_report(self, **LIMITS)
        told = self.told(self.casey, f"reports/{report.number}")
        self.assertEqual(told["facts"], json.loads(report.facts))
        self.assertEqual([file["kind"] for file in told["files"]], ["pdf", "json", "csv", "xlsx"])
        for file in told["files"]:
            response = self.ask(self.casey, file["href"])
            self.assertEqual(response["Content-Type"].split(";")[0], file["media_type"])
            if file["sha256"]:
                self.assertEqual(hashlib.sha256(response.content).hexdigest(), file["sha256"])
        self.assertEqual(self.ask(self.casey, told["files"][2]["href"]).content, self.csv_of_the_page(report))

    def csv_of_the_page(self, report) -> bytes:
        self.sign_in(self.casey)
        return self.client.get(f"/reports/{report.number}.csv").content

    def test_while_the_file_is_being_made(self):
        report = an_issued_report(self, with_file=False)
        self.refused(self.ask(self.casey, f"reports/{report.number}"), 404, "not_found")
        told = self.told(self.mara, f"reports/{report.number}")
        self.assertEqual([file["kind"] for file in told["files"]], ["json", "csv", "xlsx"])
        self.refused(self.ask(self.mara, f"reports/{report.number}/pdf"), 404, "not_found")

    def test_a_withdrawn_one_says_so(self):
        report = an_issued_report(self)
        withdraw(report_id=report.pk, reason="wrong cloth", by=self.mara, at=NOON)
        told = self.told(self.casey, f"reports/{report.number}")
        self.assertEqual((told["state"], told["withdrawn"]["reason"]), ("withdrawn", "wrong cloth"))
        self.assertEqual(self.told(self.casey, "reports", show="in_force")["items"], [])

    def test_filters(self):
        report = an_issued_report(self)
        for query, there in [
            ({"job": report.job.number}, True),
            ({"job": "26-99999X"}, False),
            ({"issued_since": "2026-03-02"}, True),
            ({"issued_since": "2026-03-03"}, False),
            ({"show": "in_force"}, True),
        ]:
            with self.subTest(query=query):
                self.assertEqual(bool(self.told(self.casey, "reports", **query)["items"]), there)

    def test_it_does_not_grow(self):
        for _ in range(2):
            report = an_issued_report(self)
        self.told(self.mara, "me")
        with self.assertNumQueries(2):
            self.told(self.mara, "reports")
        with self.assertNumQueries(2):
            self.told(self.mara, f"reports/{report.number}")
        for _ in range(20):
            issue(a_marked_request(self), by=self.mara)
        with self.assertNumQueries(2):
            self.assertEqual(len(self.told(self.mara, "reports")["items"]), 22)


class SpecimenTests(ApiTestCase):
    def specimen(self, person, specimen) -> dict:
        return self.told(person, f"specimens/{label_code(specimen.code)}")

    def test_what_is_due_from_marks_to_the_end(self):
        request = a_marked_request(self, cycles=2, measured_after=(1, 2))
        piece = request.specimens.first()
        due = self.specimen(self.bea, piece)["due"]
        self.assertEqual((due["stage"], due["words"], len(due["pairs"])), (0, "before washing", 6))
        self.assertEqual(due["pairs"][0], {"direction": "length", "pair": 1, "name": "length 1", "marked_mm": "250.0"})
        with_readings(self, request, 0, ["250", *[""] * 17])
        told = self.specimen(self.bea, piece)
        self.assertEqual(len(told["due"]["pairs"]), 5)
        self.assertEqual(
            told["readings"],
            [
                {
                    "specimen": told["label"],
                    "direction": "length",
                    "pair": 1,
                    "stage": 0,
                    "value": "250",
                    "unit": "mm",
                    "mm": "250",
                    "read_at": "2026-03-02T12:00:00+00:00",
                }
            ],
        )
        with_originals(self, request)
        self.assertIsNone(self.specimen(self.bea, piece)["due"])
        out_of_the_load(self, in_a_load(self, request))
        self.assertEqual(self.specimen(self.bea, piece)["due"]["stage"], 1)

    def test_what_is_reported_owes_nothing(self):
        report = an_issued_report(self)
        piece = requests_of(report.job)[0].specimens.first()
        told = self.specimen(self.bea, piece)
        self.assertIsNone(told["due"])
        self.assertEqual(len(told["readings"]), 12)

    def test_the_label_however_it_is_written(self):
        piece = a_marked_request(self).specimens.first()
        label = label_code(piece.code)
        for way in (label, label.lower(), label.replace("-", "")):
            self.assertEqual(self.told(self.bea, f"specimens/{way}")["code"], piece.code)

    def test_a_code_without_its_check_character_is_not_guessed(self):
        piece = a_marked_request(self).specimens.first()
        label = label_code(piece.code)
        wrong = label[:-1] + ("A" if label[-1] != "A" else "B")
        for way in (piece.code, wrong, piece.request.sample.code, *BAD):
            with self.subTest(way=way[:20]):
                self.refused(self.ask(self.bea, f"/api/1/specimens/{quote(way, safe='')}"), 404, "not_found")

    def test_it_does_not_grow(self):
        request = a_marked_request(self)
        piece = request.specimens.first()
        self.told(self.bea, "me")
        with self.assertNumQueries(4):
            self.specimen(self.bea, piece)
        with_originals(self, request)
        with self.assertNumQueries(4):
            self.specimen(self.bea, piece)
