"""The PDF made of facts: what ISO/IEC 17025 asks of every report, the same bytes again, and odd texts."""

import copy
from io import BytesIO

import pytest
from pypdf import PdfReader

from apps.reporting.facts import Facts
from apps.reporting.pdf import build
from tests.reporting import paper

pytestmark = pytest.mark.once


def pages(facts: dict) -> list[str]:
    return pages_of(build(Facts(facts)))


def pages_of(content: bytes) -> list[str]:
    """The text of each page, its line breaks as spaces."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(BytesIO(content)).pages]


@pytest.fixture(scope="module")
def report() -> list[str]:
    return pages(paper.facts())


@pytest.fixture(scope="module")
def text(report) -> str:
    return " ".join(report)


# ISO/IEC 17025:2017, 7.8.2.1, letter by letter.


def test_a_title(report):
    assert "Test report" in report[0]
    assert "Dimensional change after washing and drying" in report[0]


def test_b_name_and_address_of_the_laboratory(report):
    assert "Walkstube Textile Laboratory Weberstraße 12 1070 Vienna" in report[0]


def test_c_where_the_work_was_done(report):
    assert "Work done at Weberstraße 12" in report[0]
    elsewhere = paper.facts()
    elsewhere["lab"]["location"] = "Mill 2, Steyr"
    assert "Work done at Mill 2, Steyr" in pages(elsewhere)[0]


def test_d_number_on_every_page_and_a_clear_end(report):
    for number, page in enumerate(report, 1):
        assert "26-00147N-01" in page
        assert f"page {number} of {len(report)}" in page
    assert ["End of report 26-00147N-01" in page for page in report] == [False] * (len(report) - 1) + [True]
    assert "7KQM2XW4TR9H" in report[0]


def test_e_name_and_contact_of_the_customer(report):
    for part in ("Quellbach Hemden", "Am Quellbach 3 4020 Linz", "Casey Quellbach", "casey@example.com"):
        assert part in report[0]


def test_f_method_with_edition_and_options(text):
    assert "AATCC TM135-2018" in text
    assert "AATCC LP1 (1) III" in text
    assert "AATCC A(i) tumble dry, normal" in text


def test_g_items_named_without_doubt_and_their_condition(text):
    assert "26-00147N-A" in text
    assert "Specimens A/1: A1, A2, A3" in text
    assert "Condition on receipt dry, folded, clean" in text


def test_h_received(report):
    assert "Items received 2 Mar 2026, 09:10" in report[0]


def test_i_performed(report):
    assert "Tested 3 Mar 2026 to 11 Mar 2026" in report[0]


def test_j_issued(report):
    assert "Report issued 12 Mar 2026, 15:04" in report[0]


def test_k_sampling(text):
    assert "The items were not sampled by the laboratory; the results apply to them as received." in text


def test_l_only_the_items_tested(text):
    assert "The results relate only to the items tested." in text


def test_m_results_with_units_and_sign(report):
    assert "Change, %" in report[0]
    assert "minus is shrinkage, plus is growth" in report[0]
    for figure in Facts(paper.facts()).requests[0].figures:
        assert f"{figure.direction} {figure.stage} {figure.change} " in report[0]


def test_n_deviations_none_said_aloud_or_all_told(text):
    assert "None: no deviation, addition or exclusion was recorded." in text
    told = " ".join(pages(paper.facts(deviations=[paper.a_deviation()])))
    assert "Bath at 45.0 °C instead of 49 ± 3 °C; the boiler was cold." in told
    assert "No influence on the result: the second cycle was within the tolerance. – Mara Manager" in told
    assert "None: no deviation" not in told


def test_o_who_authorised(report):
    assert "Authorised by Mara Manager, lab manager" in report[0]
    assert "reviewed and authorised, 12 Mar 2026, 15:04" in report[0]


def test_p_results_of_others(text):
    assert "No result in this report comes from another laboratory." in text


# ISO/IEC 17025:2017, 7.8.3.1: what a test report says in addition.


def test_7831_a_test_conditions(text):
    assert "top loader with agitator, normal, 49 ± 3 °C, load 1800 ± 60 g" in text
    assert "Tumble dry until dry, take out at once." in text and "49.5 °C, dip thermometer in the drum" in text


def test_7831_b_conformity_where_limits_are_agreed(report):
    assert "✓ Pass" in report[0] and "−3.0 to +1.5" in report[0]


def test_7831_c_uncertainty_in_the_unit_of_the_result(report, text):
    assert "u, %" in report[0] and "0.21" in report[0]
    assert "What differs from machine to machine and from day to day is not in it." in text


def test_7831_d_no_opinions_and_says_so(text):
    assert "This report holds no opinions or interpretations." in text


def test_7831_e_what_a_method_asks_for_besides(text):
    assert "3 asked for, 380 mm square" in text and "The curve rests on all pairs" in text


# 7.8.6: a statement of conformity says of which results, against which limits, by which rule.


def test_7862_a_each_verdict_stands_in_the_row_of_its_result(report):
    for figure in Facts(paper.facts()).requests[0].figures:
        row = f"{figure.direction} {figure.stage} {figure.change} {figure.u} {figure.limits} ✓ {figure.verdict_told}"
        assert row in report[0]


def test_7862_b_the_specification(text):
    assert "length −3.0 to +1.5 %; width −3.0 to +1.5 %. Limits from: purchase specification Q-7." in text


def test_7862_c_the_rule_with_its_risk(text):
    assert "Simple acceptance: a result passes when the reported (rounded) value lies on or within the limits." in text
    assert "Measurement uncertainty is not taken into account." in text


# 7.8.8: an amended report has its own number, names the one it replaces, says why and what changed.


def test_788_amended():
    facts = paper.facts()
    facts["report"].update(number="26-00147N-01-R1", revision=1)
    change = {"what": "A1 length 2 after cycle 3 mm", "was": "245", "now": "246"}
    facts["report"]["amends"] = {
        "number": "26-00147N-01",
        "issued_at": "2026-03-10T10:00:00+01:00",
        "reason": "a reading was wrong",
        "opened_for": "readings",
        "changes": [change],
    }
    told = pages(facts)
    assert all("26-00147N-01-R1" in page for page in told)
    assert "replaces 26-00147N-01" in told[0] and "245 → 246" in told[0] and "a reading was wrong" in told[0]


# What the trade adds.


@pytest.mark.parametrize(
    "sentence",
    [
        "Details marked † were supplied by the customer and were not verified by the laboratory",
        "shall not be reproduced except in full without the written approval of the laboratory",
        "no proof of a care label, of product safety or of flammability",
        "It carries no qualified electronic signature.",
        "The laboratory claims no accreditation for the results in this report.",
        "a result passes when the reported (rounded) value lies on or within the limits",
        "Limits from: purchase specification Q-7.",
        "u is the standard uncertainty",
        "a figure exactly between two goes to the even one",
        "job:26-00147N, entry 148, 5fdf0b01",
        "The curve rests on all pairs; each was read at every stage.",
    ],
)
def test_says(text, sentence):
    assert sentence in text


def test_readings_of_every_pair(text):
    for specimen in paper.facts()["requests"][0]["specimens"]:
        for pair in specimen["pairs"]:
            readings = {r["stage"]: f"{float(r['mm']):.1f}" for r in pair["readings"]}
            assert f"{pair['direction']} {pair['number']} {readings[0]} {readings[1]} {readings[3]} " in text


def test_cycle_record(text):
    assert "540.5 + 1265 = 1805.5 g" in text
    assert "49.5 °C, dip thermometer in the drum" in text
    assert "4 Mar 2026, 09:00 to 09:48" in text


def test_partial_report_and_amendment_say_so():
    facts = paper.facts()
    facts["report"]["not_covered"] = ["26-00147N-B/1"]
    facts["report"]["revision"] = 1
    change = {"what": "A1 length 2 after cycle 3 mm", "was": "245", "now": "246"}
    facts["report"]["amends"] = {
        "number": "26-00147N-01",
        "issued_at": "2026-03-10T10:00:00+01:00",
        "reason": "a reading was wrong",
        "opened_for": "readings",
        "changes": [change],
    }
    first = pages(facts)[0]
    assert "Partial report: it covers 1 of the 2 tests ordered under 26-00147N. Not in this report: B/1." in first
    assert "amends and replaces report 26-00147N-01, issued 10 Mar 2026, 10:00. Reason: a reading was wrong." in first
    assert "Changed: A1 length 2 after cycle 3 mm: 245 → 246" in first


def test_superseded_readings_lost_marks_and_set_aside_specimens():
    facts = paper.facts()
    specimens = facts["requests"][0]["specimens"]
    specimens[2]["set_aside"] = "edge frayed"
    pair = specimens[0]["pairs"][0]
    pair["lost"] = {"from_stage": 3, "reason": "mark gone", "by": "Bea Bench", "at": "2026-03-06T08:20:00+01:00"}
    old = {**pair["readings"][1], "voided_by": "Bea Bench", "voided_at": "2026-03-04T09:00:00+01:00"}
    pair["superseded"] = [{**old, "text": "274.5", "mm": "274.500000", "reason": "digits swapped"}]
    del pair["readings"][2]
    told = " ".join(pages(facts))
    assert "A3 was set aside and does not count: edge frayed" in told
    assert "mark lost" in told
    assert "A1 length 1: no reading from after cycle 3 on, mark gone" in told
    assert "A1 length 1, after cycle 1: 274.5 mm" in told
    assert "digits swapped" in told


def test_no_limits_no_verdict():
    told = " ".join(pages(paper.facts(limits=(None, None))))
    assert "no limits agreed, so no statement of conformity is made" in told
    assert "Pass" not in told


def test_a_fail_is_a_word_and_a_mark():
    assert "× Fail" in pages(paper.facts(limits=("-1.0", None)))[0]


# The file.


def test_the_same_facts_give_the_same_bytes():
    facts = paper.facts(samples=2, deviations=[paper.a_deviation()])
    assert build(Facts(facts)) == build(Facts(copy.deepcopy(facts)))


def test_a_read_back_text_gives_the_same_bytes():
    facts = Facts(paper.facts())
    assert build(facts) == build(Facts.read(facts.text))


def test_every_face_is_embedded():
    for page in PdfReader(BytesIO(build(Facts(paper.facts(is_demo=True))))).pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object().get("/FontDescriptor")
            assert descriptor and "/FontFile2" in descriptor.get_object(), font.get_object()["/BaseFont"]


def test_demo_says_specimen_on_every_page():
    assert all("SPECIMEN" in page for page in pages(paper.facts(is_demo=True)))
    assert not any("SPECIMEN" in page for page in pages(paper.facts()))


def test_about_the_file():
    about = PdfReader(BytesIO(build(Facts(paper.facts())))).metadata
    assert (about.title, about.author) == ("Test report 26-00147N-01", "Walkstube Textile Laboratory")


def test_a_long_job():
    facts = paper.facts(samples=6, requests=2, stages=(1, 3, 5), limits=("-3.00", None))
    told = pages(facts)
    assert len(told) > 10
    text = " ".join(told)
    for letter in "ABCDEF":
        assert f"26-00147N-{letter}/2" in text


def test_fifty_cycles_and_sixty_measuring_points():
    text = " ".join(pages(paper.facts(stages=tuple(range(1, 51)))))
    assert "after 47 after 48" in text
    facts = paper.facts(specimens=1)
    piece = facts["requests"][0]["specimens"][0]
    sleeve = "left sleeve, from the shoulder seam to the cuff"
    piece["pairs"] = [{**piece["pairs"][0], "number": n, "place": sleeve} for n in range(1, 61)]
    assert f"length 60 ({sleeve})" in " ".join(pages(facts))


def test_the_longest_names_and_addresses():
    facts = paper.facts(deviations=[paper.a_deviation(text="y" * 500)] * 30)
    facts["lab"].update(name="L" * 150, address="q " * 250, location="W" * 200)
    facts["customer"].update(name="C" * 150, address="line of an address\n" * 26)
    told = pages(facts)
    assert all(f"page {n} of {len(told)}" in page for n, page in enumerate(told, 1))


ODD = ["🧺" * 40, "שלום עולם", "<b>bold</b> & <script>", "x" * 500, "word " * 100, "Ő Ж Ω ę", "\x00\x07", "‮right"]


@pytest.mark.parametrize("odd", ODD, ids=[ascii(odd[:6]) for odd in ODD])
def test_odd_texts_are_printed_or_marked(odd):
    facts = paper.facts(deviations=[paper.a_deviation(text=odd)])
    facts["customer"]["name"] = facts["lab"]["name"] = facts["samples"][0]["description"] = odd
    facts["job"]["purchase_order"] = facts["requests"][0]["limits_source"] = odd
    text = " ".join(pages(facts))
    assert "End of report" in text
    marked = "does not have; the records keep it" in text
    assert marked == any((not c.isascii() and c not in "ŐЖΩę‮" and c.isprintable()) for c in odd)


def test_markup_in_texts_stays_text():
    facts = paper.facts()
    facts["customer"]["name"] = "<b>Bold</b> & Söhne"
    assert "<b>Bold</b> & Söhne" in pages(facts)[0]


def test_inches_are_printed_as_typed_with_millimetres():
    text = " ".join(pages(paper.facts(unit="in")))
    first = paper.facts(unit="in")["requests"][0]["specimens"][0]["pairs"][0]["readings"][0]
    assert f"{first['text']} in" in text
    assert first["mm"].rstrip("0") in text


def test_scope_is_told_only_where_an_accreditation_is_claimed():
    facts = paper.facts(samples=2)
    assert "outside the scope" not in " ".join(pages(facts))
    facts["requests"][0]["method"]["in_scope"] = True
    text = " ".join(pages(facts))
    assert "outside the scope of accreditation" in text and "within the scope" in text


def test_a_single_limit_cannot_be_read_the_other_way_round():
    text = " ".join(pages(paper.facts(limits=("-3.00", None))))
    assert "not below −3.0" in text and "at least" not in text


def test_the_guarded_rule_prints_the_limits_that_were_held_against():
    facts = paper.facts()
    assert "Moved limits" not in " ".join(pages(facts))
    request = facts["requests"][0]
    request["decision_rule"] = "guarded"
    for result in request["results"]:
        result["verdict"] |= {"lower_limit": "-2.6745", "upper_limit": "1.1745"}
    assert "Moved limits in percent: length after cycle 1 −2.67 to +1.17" in " ".join(pages(facts))


def test_what_is_not_recorded_is_said(text):
    assert "The time and the atmosphere of conditioning are not part of these records." in text


def test_how_finely_the_rule_was_read(text):
    assert "250 mm apart, read to 1 mm or finer" in text
    facts = paper.facts()
    for result in facts["requests"][0]["results"]:
        result["division_mm"] = "1.5875"
    assert "read to 1.6 mm or finer" in " ".join(pages(facts))


def test_where_the_specimens_were_cut_is_told(text):
    assert "Where the specimens were cut" in text
    assert "no two share a lengthwise or a widthwise yarn" in text
    assert "548–928" in text and "1000–1380" in text


def test_facts_of_before_the_plans_are_read_too():
    old = paper.facts()
    del old["requests"][0]["cutting"]
    assert "Where the specimens were cut" not in " ".join(pages(old))
