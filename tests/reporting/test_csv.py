"""Results and readings as CSV: the facts' own figures, and no text that a spreadsheet takes for a formula."""

import csv
from decimal import Decimal
from io import StringIO

import pytest

from apps.reporting.csvtext import COLUMNS, csv_of
from apps.reporting.facts import Facts
from tests.reporting import paper

pytestmark = pytest.mark.once


def rows(facts: dict) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(csv_of(Facts(facts)), newline="")))


def test_one_row_a_result_and_a_reading():
    told = rows(paper.facts(samples=2, stages=(1, 3)))
    assert [row["row"] for row in told].count("result") == 2 * 4
    assert [row["row"] for row in told].count("reading") == 2 * 3 * 6 * 3
    assert csv_of(Facts(paper.facts())).split("\r\n")[0] == ",".join(COLUMNS)


def test_figures_stay_figures():
    facts = paper.facts()
    told = [row for row in rows(facts) if row["row"] == "result"]
    for row, result in zip(told, facts["requests"][0]["results"], strict=True):
        assert Decimal(row["reported_percent"]) == Decimal(result["reported"])
        assert Decimal(row["lower_limit_percent"]) == -3
        assert (row["direction"], row["cycle"]) == (result["direction"], str(result["stage"]))
    assert any(row["reported_percent"].startswith("-") for row in told)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "－"])
def test_no_text_is_a_formula(start):
    harm = f'{start}HYPERLINK("http://example.com")'
    facts = paper.facts()
    request = facts["requests"][0]
    facts["report"]["number"] = request["sample"] = request["code"] = request["method"]["name"] = harm
    for specimen in request["specimens"]:
        specimen["code"] = harm
        for pair in specimen["pairs"]:
            for reading in pair["readings"]:
                reading["text"] = reading["by"] = harm
            pair["superseded"] = [{**pair["readings"][0], "reason": harm}]
    told = rows(facts)
    figures = {name for name in COLUMNS if name.endswith("percent") or name == "mm"}
    for row in told:
        for name, text in row.items():
            assert name in figures or not text.startswith(start), (name, text)
    assert told[0]["method"] == f"'{harm}"


def test_superseded_readings_are_not_in_force():
    facts = paper.facts()
    pair = facts["requests"][0]["specimens"][0]["pairs"][0]
    pair["superseded"] = [{**pair["readings"][1], "mm": "274.500000", "reason": "digits swapped"}]
    (row,) = [row for row in rows(facts) if row["in_force"] == "no"]
    assert (row["mm"], row["remark"]) == ("274.500000", "digits swapped")


def test_odd_texts_stay_in_their_cell():
    facts = paper.facts()
    facts["requests"][0]["method"]["name"] = 'a "quoted", name\nof two lines 🧺\x00'
    assert rows(facts)[0]["method"] == 'a "quoted", name\nof two lines 🧺'
