"""Several people read the same pieces blind; what they differ by is reckoned, adopted, and told in results."""

import json
import uuid
from decimal import Decimal
from io import BytesIO
from pathlib import Path

from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from apps.accounts.models import User
from apps.control.models import Study, StudyReading
from apps.control.queries.studies import study_whole
from apps.control.services import studies as services
from apps.core.errors import KeyReused, Refusal
from apps.measuring.queries import results_of
from apps.methods.models import RepeatabilityFigure, TestMethod
from apps.trail.queries import broken_link
from tests.cast import NOON, LabTestCase, a_marked_request, a_person, after_cycle, with_originals, with_readings
from tests.reporting.support import a_finished_job, approve

DATA = Path(__file__).parents[1] / "calc" / "data"
# AIAG, Measurement Systems Analysis, 4th edition (10 parts, 3 appraisers, 3 trials) and ISO 5725-2:1994, annex B
# (sulfur in coal, 8 laboratories); how they were confirmed stands in the files.
GAUGE = json.loads((DATA / "aiag_gauge_study.json").read_text())
SULFUR = json.loads((DATA / "iso_5725_2_sulfur.json").read_text())
METHOD = "aatcc-tm135-2018-small"


class StudyCase(LabTestCase):
    def readers(self, number: int) -> list[User]:
        return [a_person(f"reader{n}", f"Reader {n:02d}", bench=True) for n in range(1, number + 1)]

    def a_study(self, readers: list[User], pieces: int, **more) -> Study:
        given = {"direction": "length", "unit": "pct", "trials": 2, "by": self.mara, "at": NOON, **more}
        names = [f"P{n}" for n in range(1, pieces + 1)]
        method = TestMethod.objects.get(code=METHOD).pk
        return services.plan_study(
            method_id=method, pieces=names, reader_ids=[reader.pk for reader in readers], **given
        )

    def read(self, study: Study, person: User, rows: list[list[str]], **more) -> list[StudyReading]:
        """`rows`: by piece, its readings."""
        typed = {(piece, trial): text for piece, row in enumerate(rows, 1) for trial, text in enumerate(row, 1)}
        return services.read_pieces(study_id=study.pk, typed=typed, by=person, at=NOON, **more)

    def refused(self, code: str, act, *args, **given) -> str:
        with self.assertRaises(Refusal) as caught:
            act(*args, **given)
        self.assertEqual(caught.exception.code, code)
        return str(caught.exception)

    def the_gauge_study(self) -> Study:
        people = self.readers(3)
        study = self.a_study(people, 10, trials=3)
        for person, trials in zip(people, GAUGE["readings_of_appraiser_by_trial_over_parts"].values(), strict=True):
            by_trial = [[signed(text) for text in row.split()] for row in trials]
            self.read(study, person, [list(row) for row in zip(*by_trial, strict=True)])
        return study

    def distances(self, *, first=("250.0", "250.5"), second=("250.5", "251.0")) -> Study:
        study = self.a_study([self.bea, self.mara], 2, unit="mm")
        self.read(study, self.bea, [list(first)] * 2)
        self.read(study, self.mara, [list(second)] * 2)
        return study


def signed(text: str) -> str:
    return text if text.startswith("-") else f"+{text}"


class PublishedTests(StudyCase):
    def test_the_gauge_study_of_the_manual(self):
        study = self.the_gauge_study()
        gauge = study_whole(study).ways[0].found
        for name, published in GAUGE["variance_analysis"].items():
            self.assertAlmostEqual(float(getattr(gauge, name)), float(published), delta=5e-6, msg=name)
        self.sign_in(self.fran)
        page = self.client.get(f"/control/studies/{study.pk}/").content.decode()
        for figure in ("0.19993", "0.22684", "0.30237", "1.04233"):
            self.assertIn(figure, page)
        self.assertIn("It tells 4 kinds of pieces apart", page)

    def test_the_sulfur_of_the_standard(self):
        people = self.readers(8)
        study = self.a_study(people, 4, trials=6)
        for person, levels in zip(people, SULFUR["results_of_laboratory_by_level"].values(), strict=True):
            self.read(study, person, [[signed(text) for text in level.split()] for level in levels])
        self.sign_in(self.mara)
        page = self.client.get(f"/control/studies/{study.pk}/").content.decode()
        for level, told in zip(study_whole(study).levels, SULFUR["four_decimals"], strict=True):
            for name in ("mean", "s_r", "s_R"):
                figure = getattr(level.found, name)
                self.assertEqual(str(round(figure, 4)), told[name])
                self.assertIn(f'<td class="num">{told[name]}</td>', page)
        self.assertIn("Every appraiser must have read every part equally often.", page)


class BlindTests(StudyCase):
    def test_the_second_sees_the_first_only_when_theirs_is_kept(self):
        study = self.a_study([self.bea, self.mara], 2, unit="mm")
        self.read(study, self.bea, [["251.3", "251.2"], ["248.1", "248.4"]])
        address = f"/control/studies/{study.pk}/"
        self.sign_in(self.mara)
        for path in (address, f"{address}read/", f"{address[:-1]}.csv"):
            answer = self.client.get(path, follow=True).content.decode()
            self.assertNotIn("251.3", answer, path)
        self.read(study, self.mara, [["251.0", "251.1"], ["248.0"]])
        self.assertNotIn("251.3", self.client.get(address).content.decode())
        services.read_pieces(study_id=study.pk, typed={(2, 2): "248.2"}, by=self.mara, at=NOON)
        self.assertIn("251.3", self.client.get(address).content.decode())
        self.assertIn("251.3", self.client.get(f"{address[:-1]}.csv").content.decode())

    def test_the_sheet_keeps_what_was_typed_and_says_what_is_wrong(self):
        study = self.a_study([self.bea, self.mara], 2, unit="mm")
        self.sign_in(self.bea)
        sent = {"piece_1_1": "250.5", "piece_1_2": "about 250", "key": str(uuid.uuid4())}
        page = self.client.post(f"/control/studies/{study.pk}/read/", sent).content.decode()
        self.assertIn("about 250", page)
        self.assertIn("250.5", page)
        self.assertEqual(StudyReading.objects.count(), 0)
        sent["piece_1_2"] = "250"
        for _ in range(2):  # a double tap leaves one row, and is answered alike
            self.assertEqual(self.client.post(f"/control/studies/{study.pk}/read/", sent).status_code, 302)
        self.assertEqual(sorted(StudyReading.objects.values_list("text", flat=True)), ["250", "250.5"])


class RuleTests(StudyCase):
    def test_who_may_and_what_is_refused(self):
        people = [self.bea, self.mara]
        self.refused("not_manager", self.a_study, people, 2, by=self.bea)
        self.refused("readers", self.a_study, [self.bea, self.lou], 2)
        self.refused("pieces", self.a_study, people, 1)
        self.refused("trials", self.a_study, people, 2, trials=7)
        study = self.a_study(people, 2, unit="mm")
        self.refused("not_reader", self.read, study, self.lou, [["250"]])
        self.refused("nothing_read", self.read, study, self.bea, [[" "]])
        self.refused("no_such_cell", self.read, study, self.bea, [["250", "250", "250"]])
        self.read(study, self.bea, [["250"]])
        self.refused("kept_already", self.read, study, self.bea, [["251"]])
        self.refused("not_whole", services.adopt_study, study_id=study.pk, by=self.mara, at=NOON)
        pct = self.a_study(people, 2)
        self.refused("sign", self.read, pct, self.bea, [["2.5"]])

    def test_an_act_is_done_once(self):
        study, key = self.a_study([self.bea, self.mara], 2, unit="mm"), uuid.uuid4()
        first = self.read(study, self.bea, [["250"]], key=key)
        self.assertEqual(self.read(study, self.bea, [["250"]], key=key), first)
        with self.assertRaises(KeyReused):
            self.read(study, self.bea, [["251"]], key=key)
        self.assertIsNone(broken_link(study.stream))

    def test_a_slip_is_void_and_read_anew(self):
        study = self.a_study([self.bea, self.mara], 2, unit="mm")
        (slip,) = self.read(study, self.bea, [["520"]])
        given = {"entry_id": slip.pk, "at": NOON}
        self.refused("not_manager", services.void_study_reading, reason="slip", by=self.bea, **given)
        self.refused("reason_missing", services.void_study_reading, reason=" ", by=self.mara, **given)
        services.void_study_reading(reason="figures swapped", by=self.mara, **given)
        self.refused("already_void", services.void_study_reading, reason="again", by=self.mara, **given)
        (again,) = self.read(study, self.bea, [["250"]])
        self.assertEqual(study_whole(study).readings, [again])

    def test_the_database_refuses(self):
        study = self.the_gauge_study()
        services.adopt_study(study_id=study.pk, by=self.mara, at=NOON)
        writes = [
            lambda: Study.objects.update(direction="width"),
            lambda: study.pieces.update(name="other"),
            lambda: study.planned.all().delete(),
            lambda: StudyReading.objects.update(value=1),
            lambda: StudyReading.objects.all().delete(),
            lambda: RepeatabilityFigure.objects.update(with_people=1),
            lambda: RepeatabilityFigure.objects.all().delete(),
        ]
        for write in writes:
            with self.assertRaises(IntegrityError), transaction.atomic():
                write()


class AdoptedTests(StudyCase):
    def test_the_newest_goes_into_the_results(self):
        """Cells of 250.0, 250.5 and 250.5, 251.0 mm: EV and AV by hand.

        Sums of squares of 2 pieces x 2 people x 2 trials: within cells 4 x 0.125 = 0.5 (4 dof), people 8 x 0.25^2 =
        0.5 (1), pieces 0 (1), interaction 0 (1); pooled error 0.5 / 5 = 0.1, EV = 0.316228 mm; people (0.5 - 0.1) / 4
        = 0.1; GRR = sqrt(0.2) = 0.447214 mm, in percent of the mean of 250.5 mm: 0.178528.
        """
        study = self.distances()
        self.refused("not_manager", services.adopt_study, study_id=study.pk, by=self.bea, at=NOON)
        row = services.adopt_study(study_id=study.pk, by=self.mara, at=NOON)
        self.assertEqual((round(row.with_people, 6), row.n, row.people, row.dof), (Decimal("0.178528"), 8, 2, 5))
        self.assertEqual(round(row.repeatability, 6), Decimal("0.126239"))
        self.refused("already_adopted", services.adopt_study, study_id=study.pk, by=self.mara, at=NOON)

        request = a_marked_request(self)
        with_originals(self, request, "250")
        after_cycle(self, request)
        with_readings(self, request, 1, "245")
        length = results_of([request])[request.pk].of("length", 1)
        # One of 250 mm became 245: u = 0.178528 x sqrt(1 + 0.98^2) = 0.249965 %; the specimens agree.
        self.assertEqual(round(length.u, 5), Decimal("0.24997"))
        width = results_of([request])[request.pk].of("width", 1)
        self.assertIsNone(width.spread.reading)
        # The division alone: 1 / sqrt(12) mm before and after, 0.161675 %.
        self.assertEqual(round(width.u, 6), Decimal("0.161675"))

    def test_a_smaller_figure_gives_way_to_the_division(self):
        study = self.distances(first=("250.0", "250.1"), second=("250.1", "250.0"))
        services.adopt_study(study_id=study.pk, by=self.mara, at=NOON)
        request = a_marked_request(self)
        with_originals(self, request, "250")
        after_cycle(self, request)
        with_readings(self, request, 1, "245")
        length = results_of([request])[request.pk].of("length", 1)
        self.assertFalse(length.spread.reading_counts)
        self.assertEqual(round(length.u, 6), Decimal("0.161675"))

    def test_all_readings_equal_say_nothing(self):
        study = self.distances(first=("250", "250"), second=("250", "250"))
        self.refused("no_spread", services.adopt_study, study_id=study.pk, by=self.mara, at=NOON)

    def test_the_report_says_how_many_readings_and_when(self):
        before = approve(self, a_finished_job(self))
        study = self.distances()
        services.adopt_study(study_id=study.pk, by=self.mara, at=NOON)
        report = approve(self, a_finished_job(self))
        told = f"study {study.pk} found 0.18 % in length, from 8 readings by 2 people until 2 Mar 2026"
        results = json.loads(report.facts)["requests"][0]["results"]
        reading = next(result["reading"] for result in results if result["direction"] == "length")
        self.assertEqual((reading["n"], reading["on"], reading["told"]), (8, "2026-03-02", told))
        self.sign_in(self.mara)
        self.assertContains(self.client.get(f"/reports/{report.number}/"), told)
        self.assertNotContains(self.client.get(f"/reports/{before.number}/"), "For the reading")
        self.assertContains(self.client.get(f"/methods/{METHOD}/"), "How far readings differ")


class PageTests(StudyCase):
    def test_planned_read_and_adopted_on_the_pages(self):
        self.sign_in(self.mara)
        method = TestMethod.objects.get(code=METHOD)
        sent = {"method": method.pk, "direction": "width", "unit": "mm", "trials": "2", "note": "first"}
        page = self.client.post("/control/studies/new/", sent | {"pieces": "A1 width 1"}).content.decode()
        self.assertIn("A1 width 1", page)
        sent |= {"pieces": "A1 width 1\nA1 width 2", "readers": [self.bea.pk, self.mara.pk]}
        answer = self.client.post("/control/studies/new/", sent | {"key": str(uuid.uuid4())})
        study = Study.objects.get()
        self.assertRedirects(answer, f"/control/studies/{study.pk}/")
        adopt = f"/control/studies/{study.pk}/adopt/"
        self.assertContains(self.client.post(adopt), "Not everybody has read everything yet", status_code=422)
        for person, texts in ((self.bea, ["250", "250.5"]), (self.mara, ["250.5", "251"])):
            self.read(study, person, [texts] * 2)
        self.assertRedirects(self.client.post(adopt), f"/control/studies/{study.pk}/")
        self.assertContains(self.client.get("/control/studies/"), "8 of 8")

    def test_tables_to_keep(self):
        study = self.the_gauge_study()
        self.sign_in(self.fran)
        lines = self.client.get(f"/control/studies/{study.pk}.csv").content.decode("utf-8-sig").splitlines()
        self.assertEqual(len(lines), 91)
        book = load_workbook(BytesIO(self.client.get(f"/control/studies/{study.pk}.xlsx").content))
        values = {row[8] for row in book.active.iter_rows(min_row=2, values_only=True)}
        self.assertIn(-1.36, values)
        self.assertIn("90,90", self.client.get("/control/studies.csv").content.decode())
        self.assertEqual(self.client.get("/control/studies.xlsx").status_code, 200)

    def test_customers_see_nothing(self):
        study = self.a_study([self.bea, self.mara], 2)
        self.sign_in(self.casey)
        for path in ("studies/", f"studies/{study.pk}/", f"studies/{study.pk}.csv", "studies.csv"):
            self.assertEqual(self.client.get(f"/control/{path}").status_code, 403)

    def test_pages_do_not_grow(self):
        counts = []
        self.sign_in(self.mara)
        for number in (2, 20):
            study = self.a_study([self.bea, self.mara], number, unit="mm")
            for person in (self.bea, self.mara):
                self.read(study, person, [["250", "250.5"]] * number)
            for path in ("/control/studies/", f"/control/studies/{study.pk}/"):
                with CaptureQueriesContext(connection) as noted:
                    self.client.get(path)
                counts.append((path.count("/"), len(noted)))
            for _ in range(number - 1):
                self.a_study([self.bea, self.mara], 2)
        self.assertEqual(counts[:2], counts[2:])
