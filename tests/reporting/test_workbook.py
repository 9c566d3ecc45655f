"""The workbook says what the CSV says, with figures as numbers and texts never as formulas."""

import csv
import json
from decimal import Decimal
from io import BytesIO, StringIO

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts
from apps.reporting.workbook import workbook_of
from tests.cast import LabTestCase
from tests.reporting import paper
from tests.reporting.support import an_issued_report


def sheets(content: bytes) -> dict[str, list[dict]]:
    book = load_workbook(BytesIO(content))
    told = {}
    for sheet in book:
        head, *rows = sheet.iter_rows(values_only=True)
        told[sheet.title] = [dict(zip(head, row, strict=True)) for row in rows]
    return told


@pytest.mark.once
@pytest.mark.parametrize("kind", [{}, {"samples": 2}, {"unit": "in"}, {"limits": (None, None)}])
def test_says_what_the_csv_says(kind):
    facts = Facts(paper.facts(**kind))
    told = sheets(workbook_of(facts))
    wanted = list(csv.DictReader(StringIO(csv_of(facts))))
    for name, title in (("result", "Results"), ("reading", "Readings")):
        rows = [row for row in wanted if row["row"] == name]
        assert len(told[title]) == len(rows)
        for mine, row in zip(told[title], rows, strict=True):
            for column, value in mine.items():
                if isinstance(value, int | float):  # a sheet's numbers have some fifteen digits
                    assert abs(Decimal(str(value)) - Decimal(row[column])) < Decimal("1e-9"), column
                else:
                    assert (value or "") == row[column], column


@pytest.mark.once
def test_texts_are_never_formulas():
    facts = paper.facts()
    facts["requests"][0]["specimens"][0]["pairs"][0]["place"] = "=1+1"
    facts["requests"][0]["method"]["name"] = "@SUM(A1)"
    facts["requests"][0]["specimens"][0]["pairs"][0]["readings"][0]["by"] = "+cmd|' /C calc'!A0"
    book = load_workbook(BytesIO(workbook_of(Facts(facts))))
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert "f" not in {cell.data_type for cell in cells}
    texts = [cell.value for cell in cells if isinstance(cell.value, str)]
    assert not [text for text in texts if text.startswith(("=", "+", "-", "@"))]
    assert "'=1+1" in texts and "'@SUM(A1)" in texts


class DownloadTests(LabTestCase):
    def test_who_gets_what(self):
        report = an_issued_report(self)
        for user, code in ((self.bea, 200), (self.casey, 200), (self.dana, 404), (None, 302)):
            self.sign_in(user)
            for name in ("xlsx", "json"):
                answer = self.client.get(reverse(f"reporting:{name}", args=[report.number]))
                assert answer.status_code == code, (user, name)
        self.sign_in(self.casey)
        answer = self.client.get(reverse("reporting:json", args=[report.number]))
        assert json.loads(answer.content) == Facts.read(report.facts).data
        answer = self.client.get(reverse("reporting:xlsx", args=[report.number]))
        assert f'filename="{report.number}.xlsx"' in answer["Content-Disposition"]
        assert len(sheets(answer.content)["Results"]) == 2

    def test_not_for_the_customer_until_the_file_is_there(self):
        report = an_issued_report(self, with_file=False)
        self.sign_in(self.casey)
        for name in ("xlsx", "json"):
            assert self.client.get(reverse(f"reporting:{name}", args=[report.number])).status_code == 404
