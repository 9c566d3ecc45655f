"""What the manager reads before the figures."""

import pytest

from apps.reporting.facts import Facts
from apps.reporting.facts.unusual import outliers, unusual
from tests.reporting import paper

pytestmark = pytest.mark.once


def told(facts: dict) -> str:
    return " | ".join(f"{notice.where} {notice.word}: {notice.text}" for notice in unusual(Facts(facts)))


def test_nothing():
    assert told(paper.facts()) == ""


def test_deviations_but_not_those_still_to_be_judged():
    open_one = paper.a_deviation(judgement="", judged_by="", judged_at=None)
    late = paper.a_deviation(
        kind_told="entered late", text="readings of A1", at_risk=False, judgement="", judged_at=None
    )
    facts = paper.facts(deviations=[paper.a_deviation(), open_one, late])
    assert told(facts).count("the boiler was cold") == 1
    assert "Judged by Mara Manager" in told(facts) and "entered late: readings of A1" in told(facts)


def test_what_the_readings_show():
    facts = paper.facts()
    first, second, third = facts["requests"][0]["specimens"]
    old = {**first["pairs"][0]["readings"][1], "voided_by": "Bea Bench", "voided_at": "2026-03-04T09:00:00+01:00"}
    first["pairs"][0]["superseded"] = [{**old, "reason": "digits swapped"}]
    second["set_aside"] = "edge frayed"
    third["times_wetted"] = 4
    for part in (
        "digits swapped",
        "A2 set aside: edge frayed",
        "A3 interrupted cycle: wetted 4 times for 3 valid cycles",
    ):
        assert part in told(facts), part


def test_what_the_order_lacks():
    facts = paper.facts()
    request = facts["requests"][0]
    request["limits_source"] = ""
    request["review"]["remark"] = "narrow cloth, told the customer"
    request["results"][0]["warning"] = "The limit lies between two figures that can be reported."
    for part in ("where the limits come from", "narrow cloth", "between two figures"):
        assert part in told(facts), part


def test_unconfirmed_numbers_once_for_all_requests_alike():
    facts = paper.facts(samples=2)
    number = {"owner": "method:x", "name": "conditioning time", "value": "4 h", "used": False}
    for request in facts["requests"]:
        request["unconfirmed"] = [number]
    (notice,) = unusual(Facts(facts))
    assert (notice.where, notice.more) == ("A/1, B/1", ("conditioning time 4 h",))


def test_a_corrected_load_and_dates_that_cannot_be():
    facts = paper.facts()
    facts["loads"][0]["corrected"] = {
        "revision": 1,
        "reason": "wrong lot",
        "by": "Lou Laundry",
        "at": paper.on(5, "09:00"),
    }
    facts["job"]["received_at"] = paper.on(9, "09:00")
    assert "record corrected: wrong lot (Lou Laundry)" in told(facts)
    assert "later than the first work" in told(facts)


def test_an_outlier_and_too_few_to_tell():
    facts = paper.facts()
    reading = facts["requests"][0]["specimens"][1]["pairs"][2]["readings"][2]
    reading["change"] = "-9.000000"
    assert "outlier: length after cycle 3: A2 3 with −9.0 % lies far from the others (Grubbs, 9 values)" in told(facts)
    facts["requests"][0]["specimens"][1]["set_aside"] = "edge frayed"
    assert "outlier" not in told(facts)
    (request,) = Facts(paper.facts(specimens=1)).requests
    sentences = [row.sentence for row in outliers(request)]
    assert any("Three values are too few to tell" in sentence for sentence in sentences)
    (request,) = Facts(paper.facts()).requests
    assert next(row.sentence for row in outliers(request)).startswith("length after cycle 1: none among 9 values")
