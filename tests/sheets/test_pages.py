"""/sheets/: a sheet in, results out, without anything kept."""

import csv
import io
import re
from unittest import mock

from django.core.files.uploadedfile import SimpleUploadedFile
from openpyxl import load_workbook

from apps.accounts.models import Lab
from apps.sheets import forms, tokens
from tests.cast import LabTestCase
from tests.sheets.support import as_csv, calculate, of_text
from tests.sheets.test_workbook import as_workbook

PLAIN = of_text("X 1 length 1 0 35 cm\nX 1 length 1 1 32 cm\nX 1 length 1 3 31.5 cm")
CHOSEN = {"averaging": "ratio_of_means", "tie": "even", "step": "0.1", "give": "page"}


class SheetsCase(LabTestCase):
    def setUp(self) -> None:
        self.sign_in(self.bea)

    def send(self, sheet: bytes, name: str = "sheet.csv", **chosen: str):
        return self.client.post("/sheets/", {**CHOSEN, **chosen, "file": SimpleUploadedFile(name, sheet)})

    def carried(self, response) -> str:
        return re.search(r'name="results" value="([^"]+)"', response.content.decode())[1]


class SheetsPageTests(SheetsCase):
    def test_it_works(self):
        response = self.send(as_csv(PLAIN))
        self.assertContains(response, "Results of sheet.csv")
        for text in ("−8.6 %", "−8.5714 %", "−10.0 %", "2 results of 1 sample", "<svg", "cycle 3 −10.0 %"):
            self.assertContains(response, text)

    def test_it_takes_a_workbook(self):
        self.assertContains(self.send(as_workbook(PLAIN), "Sheet.XLSX"), "−8.6 %")

    def test_a_file_that_waits_on_disk_is_read_alike(self):
        with self.settings(FILE_UPLOAD_MAX_MEMORY_SIZE=1):
            self.assertContains(self.send(as_workbook(PLAIN), "sheet.xlsx"), "−8.6 %")
            self.assertContains(self.send(as_csv(PLAIN)), "−8.6 %")
            self.assertContains(self.send(as_csv([*PLAIN, PLAIN[0]])), "line 5", status_code=422)

    def test_it_begins_with_the_rounding_of_the_lab(self):
        Lab.objects.update(tie="away")
        form = self.client.get("/sheets/").content.decode()
        self.assertRegex(form, r'value="away"[^>]*checked')
        lines = of_text("X 1 length 1 0 8 in\nX 1 length 1 1 8.5 in")
        self.assertContains(self.send(as_csv(lines), tie="away"), "+6.3 %")
        self.assertContains(self.send(as_csv(lines), tie="even"), "+6.2 %")

    def test_averaging_and_step_are_chosen(self):
        lines = of_text("X 1 length 1 0 100 mm\nX 1 length 1 1 90 mm\nX 2 length 1 0 300 mm\nX 2 length 1 1 300 mm")
        self.assertContains(self.send(as_csv(lines)), "−2.5 %")
        self.assertContains(self.send(as_csv(lines), averaging="mean_of_changes", step="0,50"), "−5.00 %")

    def test_all_wrong_rows_are_told_at_once(self):
        lines = [*PLAIN, *(["X", "1", "length", str(number), "1", "<b>", "cm"] for number in range(300))]
        response = self.send(as_csv(lines))
        self.assertEqual(response.status_code, 422)
        self.assertContains(response, "Not calculated: 300 things to correct in the sheet", status_code=422)
        self.assertContains(response, "&lt;b&gt;", count=200, status_code=422)
        self.assertContains(response, ">line 5</th><td>value</td>", status_code=422)
        self.assertContains(response, "… and 100 more.", status_code=422)
        self.assertContains(self.send(as_workbook(lines[:4]), "x.xlsx"), ">cell F5</th>", status_code=422)

    def test_it_refuses_with_a_sentence_and_keeps_what_was_chosen(self):
        for name, data, chosen, sentence in (
            ("sheet.csv", b"", {}, "The file is empty."),
            ("sheet.csv", b"a,b\n", {}, "The first line must name"),
            ("sheet.csv", b"\x89PNG\0\0", {}, "This is no text file."),
            ("sheet.xlsx", b"PK\3\4", {}, "damaged"),
            ("sheet.pdf", b"%PDF", {}, "ends in .csv or .xlsx"),
            ("sheet.csv", as_csv(PLAIN), {"step": "0"}, "above 0 and at most 100"),
            ("sheet.csv", as_csv(PLAIN), {"step": "9" * 10_000}, "at most 10 characters"),
            ("sheet.csv", as_csv(PLAIN), {"step": "0\0"}, "Null characters are not allowed."),
            ("sheet.csv", as_csv(PLAIN), {"averaging": "median"}, "median"),
            ("sheet.csv", as_csv(PLAIN), {"tie": "🧦"}, "🧦"),
            ("sheet.csv", as_csv(PLAIN), {"give": "pdf"}, "pdf"),
        ):
            with self.subTest(name=name, chosen=str(chosen)[:40]):
                response = self.send(data, name, **{"averaging": "mean_of_changes", **chosen})
                self.assertContains(response, sentence, status_code=422)
                self.assertContains(response, "Not calculated", status_code=422)
                if "averaging" not in chosen:
                    self.assertRegex(response.content.decode(), r'value="mean_of_changes"[^>]*checked')

    def test_missing_and_tampered_fields_get_a_sentence(self):
        for data in (
            {},
            {**CHOSEN},
            {**CHOSEN, "file": "no file"},
            {"file": SimpleUploadedFile("a.csv", as_csv(PLAIN))},
        ):
            self.assertEqual(self.client.post("/sheets/", data).status_code, 422)

    def test_large_files_are_refused_before_they_are_read(self):
        with mock.patch.object(forms, "TEXT_MB", 1), mock.patch.object(forms, "WORKBOOK_MB", 2):
            large = as_csv(PLAIN) + b"\n" * (2 << 20)
            self.assertContains(self.send(large), "This file has 2 MB; 1 MB is the most.", status_code=422)
            self.assertContains(self.send(large * 2, "x.xlsx"), "2 MB is the most. Save it as CSV", status_code=422)

    def test_what_was_left_out_is_shown(self):
        response = self.send(
            as_csv([*PLAIN, *of_text("X 1 length 2 1 32 cm\nX 1 length 3 0 35 cm\nX 1 length 3 1 30 cm")])
        )
        self.assertContains(response, "X length, cycle 1: left out 1 pair 2 (no original).")
        self.assertContains(response, "2 pairs left out")
        self.assertContains(response, "The curve rests on the pairs read at every stage")

    def test_who_may(self):
        for user, status in (
            (None, 302),
            (self.fran, 403),
            (self.bea, 200),
            (self.lou, 403),
            (self.mara, 200),
            (self.casey, 403),
        ):
            with self.subTest(user=user):
                self.sign_in(user)
                self.assertEqual(self.client.get("/sheets/").status_code, status)
                self.assertEqual(self.send(as_csv(PLAIN)).status_code, status)
                carried = self.client.post("/sheets/results/", {"results": tokens.pack(calculate(as_csv(PLAIN)), "a")})
                self.assertEqual(carried.status_code, status)

    def test_a_get_never_calculates(self):
        self.assertEqual(self.client.get("/sheets/results/").status_code, 405)

    def test_it_does_not_grow(self):
        for samples in (2, 22):
            sheet = as_csv([[f"S{number}", *line[1:]] for number in range(samples) for line in PLAIN])
            with self.assertNumQueries(3):  # session, person, lab
                self.send(sheet)

    def test_nothing_of_the_sheet_is_markup(self):
        lines = [["<script>", "1", "</svg><i>", "1", stage, "35", "cm"] for stage in "01"]
        response = self.send(as_csv(lines), "<u>.csv")
        for text in ("<script>", "</svg><i>", "<u>"):
            self.assertNotContains(response, text + "<")
        self.assertContains(response, "&lt;script&gt;")


class CarriedResultsTests(SheetsCase):
    def files(self, response) -> tuple[list[list[str]], list[list]]:
        """The CSV and the XLSX that the page's results give."""
        token = self.carried(response)
        text = self.client.post("/sheets/results/", {"results": token, "give": "csv"})
        book = self.client.post("/sheets/results/", {"results": token, "give": "xlsx"})
        self.assertEqual(text["Content-Disposition"], 'attachment; filename="sheet results.csv"')
        self.assertEqual(book["Content-Disposition"], 'attachment; filename="sheet results.xlsx"')
        cells = load_workbook(io.BytesIO(book.content))["Results"].iter_rows(values_only=True)
        return list(csv.reader(io.StringIO(text.content.decode("utf-8-sig")))), list(cells)

    def test_downloads_say_what_the_page_says(self):
        text, book = self.files(self.send(as_csv(PLAIN)))
        self.assertEqual(text[1:], [["X", "length", "1", "1", "1", "-8.5714", "", "-8.6"],
                                    ["X", "length", "3", "1", "1", "-10.0000", "", "-10.0"]])  # fmt: skip
        self.assertEqual(book[1], ("X", "length", 1, 1, 1, -8.5714, None, -8.6))

    def test_a_file_can_be_had_at_once(self):
        carried = self.files(self.send(as_csv(PLAIN)))[0]
        response = self.send(as_csv(PLAIN), give="csv")
        self.assertEqual(list(csv.reader(io.StringIO(response.content.decode("utf-8-sig")))), carried)
        self.assertEqual(self.send(as_csv(PLAIN), give="xlsx")["Content-Type"].split(".")[-1], "sheet")

    def test_exported_names_are_never_formulas(self):
        lines = [["=1+1", "1", "-length", "1", stage, value, "cm"] for stage, value in (("0", "35"), ("1", "32"))]
        text, book = self.files(self.send(as_csv(lines)))
        self.assertEqual(text[1][:2] + text[1][-1:], ["'=1+1", "'-length", "-8.6"])
        self.assertEqual(book[1][:2] + book[1][-1:], ("'=1+1", "'-length", -8.6))

    def test_pages_of_ten_samples(self):
        response = self.send(as_csv([[f"Sample {number:02d}", *line[1:]] for number in range(25) for line in PLAIN]))
        self.assertContains(response, '<svg class="drawing curve"', count=10)
        self.assertContains(response, "Page 1 of 3")
        third = self.client.post("/sheets/results/", {"results": self.carried(response), "page": "3"})
        self.assertContains(third, "Sample 24")
        self.assertNotContains(third, "Sample 19")
        for page in ("0", "x", "9" * 5000, "\0"):
            self.assertEqual(
                self.client.post("/sheets/results/", {"results": self.carried(response), "page": page}).status_code, 200
            )

    def test_results_that_were_changed_are_refused(self):
        token = self.carried(self.send(as_csv(PLAIN)))
        for bad in (
            "",
            "x",
            token[:-1],
            token.replace(token[10], "A" if token[10] != "A" else "B", 1),
            "\0",
            "🧦" * 3000,
        ):
            response = self.client.post("/sheets/results/", {"results": bad, "give": "csv"}, follow=True)
            self.assertRedirects(response, "/sheets/")
            self.assertContains(response, "Choose the sheet again.")

    def test_results_of_yesterday_are_refused(self):
        token = self.carried(self.send(as_csv(PLAIN)))
        with mock.patch.object(tokens, "HOURS", -1):
            response = self.client.post("/sheets/results/", {"results": token})
        self.assertRedirects(response, "/sheets/")

    def test_too_long_to_carry_are_taken_as_a_file(self):
        with mock.patch.object(tokens, "MOST", 10):
            response = self.send(as_csv(PLAIN))
        self.assertContains(response, "more results than a page can carry")
        self.assertNotContains(response, 'name="results"')

    def test_a_sample_with_very_many_results(self):
        lines = [["X", "1", f"way {way}", "1", stage, "35", "cm"] for way in range(100) for stage in "01"]
        response = self.send(as_csv(lines))
        self.assertContains(response, "40 more rows are in the download.")
        self.assertContains(response, "The first 4 of 100 directions are drawn.")

    def test_a_large_sheet_is_carried(self):
        lines = [
            [f"26-{sample:05d}K-A", f"A{piece}", way, "1", stage, str(240 + sample % 17), "mm"]
            for sample in range(1000)
            for piece in range(3)
            for way in ("length", "width")
            for stage in "013"
        ]
        response = self.send(as_csv(lines))
        self.assertContains(response, "4,000 results of 1,000 samples")
        text, _ = self.files(response)
        self.assertEqual(len(text), 4001)
