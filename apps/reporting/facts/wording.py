"""The fixed sentences of a report. They are frozen with the facts, so that an old report keeps its words."""

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

TITLE = "Test report"
INTERIM_TITLE = "Interim test report"
INTERIM = (
    "Interim report: the work was still going on when it was issued. It says what was measured by then, and a final "
    "report takes its place."
)
SUBJECT = "Dimensional change after washing and drying"
SIGN = "Change in percent of the distance before washing: minus is shrinkage, plus is growth."
SUPPLIED = "†"
FINAL = "In bold: the result after the last cycle ordered."
CONTRADICTS = "The procedure ordered contradicts the care label, as the laboratory read it at receipt."
NOT_RECORDED = "The time and the atmosphere of conditioning are not part of these records."

MEANING = "reviewed and authorised"

DECISION = {
    "simple": (
        "Simple acceptance: a result passes when the reported (rounded) value lies on or within the limits. "
        "Measurement uncertainty is not taken into account."
    ),
    "guarded": (
        "Guarded acceptance on the reported (rounded) value: the limits are moved inwards by twice the standard "
        "uncertainty. Pass: inside the moved limits. Conditional pass: inside the limits, but by less. Conditional "
        "fail: outside the limits by no more. Fail: further outside."
    ),
}
AVERAGING = {
    "ratio_of_means": "change of the mean distances, over all pairs of the direction",
    "mean_of_changes": "mean of the specimens' changes, each the mean of its pairs",
}
TIE = {
    "even": "a figure exactly between two goes to the even one",
    "away": "a figure exactly between two goes away from zero",
}
UNCERTAINTY = (
    "u is the standard uncertainty from the spread between specimens and the division of the rule. What differs from "
    "machine to machine and from day to day is not in it."
)

EXTERNAL_MARK = "‡"
NO_EXTERNAL = "No result in this report comes from another laboratory."
EXTERNAL = f"Results marked {EXTERNAL_MARK} come from other laboratories, which are named beside them."
STATEMENTS = (
    "The results relate only to the items tested.",
    "The items were not sampled by the laboratory; the results apply to them as received.",
    f"Details marked {SUPPLIED} were supplied by the customer and were not verified by the laboratory; where they are "
    "wrong, the results may not apply to the goods they describe.",
    "This report shall not be reproduced except in full without the written approval of the laboratory.",
    "The results are no proof of a care label, of product safety or of flammability.",
    NO_EXTERNAL,
    "This report holds no opinions or interpretations.",
    "It was authorised electronically in the records of the laboratory by the person named on it. It carries no "
    "qualified electronic signature.",
)
SEALED = (
    "The file carries an electronic seal of the laboratory (PAdES, ECDSA P-256) by “{subject}”, {issued}. It shows "
    "that the file is as it was made; it is no qualified electronic seal. SHA-256 of the certificate: {fingerprint}"
)
OWN_CERTIFICATE = "with a certificate that the laboratory issued to itself"
NOT_SEALED = (
    "The file carries no electronic seal. Whether it is as it was made can be asked of the laboratory, by its number "
    "and verification code."
)
NO_ACCREDITATION = "The laboratory claims no accreditation for the results in this report."
SOME_ACCREDITATION = (
    "Results marked “outside the scope” are not within the accreditation of the laboratory; the others are."
)
INVENTED = "Specimen of a demonstration: customer, people, items and figures are invented. It is no test report."

VERDICTS = {
    "pass": "Pass",
    "conditional_pass": "Conditional pass",
    "conditional_fail": "Conditional fail",
    "fail": "Fail",
}
OPENED_FOR = {
    "job_details": "job details",
    "limits": "limits",
    "readings": "readings",
    "cycle_record": "cycle record",
    "wording": "wording",
}


def seal_told(seal: Mapping[str, str] | None) -> str:
    if not seal:
        return NOT_SEALED
    issued = f"with a certificate issued by {seal['issuer']}" if seal["issuer"] else OWN_CERTIFICATE
    return SEALED.format(subject=seal["subject"], issued=issued, fingerprint=seal["fingerprint"])


def statements(
    *, scopes: set[bool], is_demo: bool, years: int, seal: Mapping[str, str] | None = None, external: bool = False
) -> list[str]:
    """All sentences of one report; `scopes`: whether each method lies within the accreditation; `external`: whether
    results of other laboratories are told."""
    accreditation = SOME_ACCREDITATION if True in scopes else NO_ACCREDITATION
    kept = f"The laboratory keeps the records behind this report for {years} years."
    sentences = [EXTERNAL if external and sentence == NO_EXTERNAL else sentence for sentence in STATEMENTS]
    return [*([INVENTED] if is_demo else []), *sentences, seal_told(seal), accreditation, kept]


def signed(value: Decimal | str) -> str:
    """A limit as agreed, with sign: −3.0, +1.5, 0.0."""
    number = Decimal(value)
    whole, _, decimals = format(abs(number), "f").partition(".")
    text = f"{whole}.{decimals.rstrip('0') or '0'}"
    return text if number == 0 else ("+" if number > 0 else "\N{MINUS SIGN}") + text


def limits_told(lower: Decimal | str | None, upper: Decimal | str | None) -> str:
    """−3.0 to +1.0; not below −3.0; not above +1.0; none agreed. "At least −3" might be read as shrinking that much."""
    if lower is not None and upper is not None:
        return f"{signed(lower)} to {signed(upper)}"
    if lower is not None:
        return f"not below {signed(lower)}"
    return "none agreed" if upper is None else f"not above {signed(upper)}"


def studies_told(results: Iterable[Mapping[str, Any]]) -> str:
    """Which studies of repeated readings u rests on; empty without one, as in reports of before."""
    told = [result["reading"] for result in results if result.get("reading")]
    words = [f"in place of the division, {row['told']}" for row in told if row["counts"]]
    words += [f"the division, which is more than {row['told']}" for row in told if not row["counts"]]
    return f"For the reading u takes {'; '.join(dict.fromkeys(words))}." if words else ""
