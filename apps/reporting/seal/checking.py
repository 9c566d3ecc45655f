"""Is this file a report as the laboratory made it? From the file and the lab's public certificate alone.

Whatever goes wrong while a file is looked at, it is not valid.
"""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from io import BytesIO

import pikepdf
from asn1crypto import pem, x509
from pdf_oxide import PdfDocument
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.diff_analysis import ModificationLevel
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts
from apps.reporting.pdf.archive import FACTS, READINGS
from apps.reporting.seal.figures import differences
from apps.reporting.seal.signing import apart

ONE_LINE = 12
LARGEST = 20 * 1024 * 1024

for _name in ("pyhanko", "pyhanko_certvalidator"):
    logging.getLogger(_name).setLevel(logging.CRITICAL)  # what it thinks of a broken file is told by us


class NotValid(Exception):
    """The file does not pass; the sentence says why."""


@dataclass(frozen=True)
class Check:
    what: str
    holds: bool
    told: str


@dataclass
class Found:
    """What was found of a file. Without a single check that failed, and with all of them made, it is valid."""

    checks: list[Check] = field(default_factory=list)
    number: str = ""
    wanted: int = 4

    @property
    def valid(self) -> bool:
        return len(self.checks) == self.wanted and all(check.holds for check in self.checks)


def examine(content: bytes, trusted: bytes) -> Found:
    """All that can be found out without a database. `trusted`: the lab's public certificates, PEM."""
    found = Found()
    _made(found, "Seal", lambda: check_seal(content, trusted))
    facts: list[Facts] = []

    def attached() -> str:
        facts.append(attached_facts(content))
        found.number = facts[0].number
        return f"facts and readings of report {found.number}, as one"

    _made(found, "Attachments", attached)
    if facts:
        _made(found, "Printed figures", lambda: check_printed(content, facts[0]))
        _made(found, "Figures reckoned anew", lambda: check_figures(content, facts[0]))
    return found


def _made(found: Found, what: str, check: Callable[[], str]) -> None:
    try:
        found.checks.append(Check(what, True, check()))
    except NotValid as reason:
        found.checks.append(Check(what, False, str(reason)))
    except Exception as error:  # whatever a stranger's file does
        found.checks.append(Check(what, False, f"the file cannot be read here ({type(error).__name__})"))


def check_seal(content: bytes, trusted: bytes) -> str:
    """One seal over the whole file, unbroken, by one of these very certificates."""
    own = [x509.Certificate.load(der) for _, _, der in pem.unarmor(trusted, multiple=True)]
    if len(content) > LARGEST:
        raise NotValid("the file is larger than a report can be")
    seals = PdfFileReader(BytesIO(content), strict=True).embedded_signatures
    if len(seals) != 1:
        raise NotValid("the file carries no seal" if not seals else f"the file carries {len(seals)} seals, not one")
    seal = seals[0]
    if seal.signer_cert.dump() not in [certificate.dump() for certificate in own]:
        raise NotValid("the seal is not the laboratory's")
    if seal.compute_integrity_info() or seal.evaluate_signature_coverage() != SignatureCoverageLevel.ENTIRE_FILE:
        raise NotValid("something stands in the file that the seal does not cover")
    context = ValidationContext(trust_roots=own, allow_fetching=False, moment=seal.signer_cert.not_valid_before)
    status = apart(lambda: validate_pdf_signature(seal, context))
    unchanged = status.modification_level in (None, ModificationLevel.NONE)
    if not (status.intact and status.valid and unchanged and status.docmdp_ok):
        raise NotValid("the file was changed after it was sealed")
    when = seal.self_reported_timestamp
    return f"unbroken, by {seal.signer_cert.subject.native.get('common_name', '?')}" + (
        f", {when:%d %b %Y %H:%M %Z}" if when else ""
    )


def attachment(content: bytes, name: str) -> bytes:
    with pikepdf.open(BytesIO(content)) as pdf:
        if name not in pdf.attachments:
            raise NotValid(f"{name} is not attached")
        return pdf.attachments[name].get_file().read_bytes()


def attached_facts(content: bytes) -> Facts:
    """The facts inside the file, and the readings beside them say the same."""
    text = attachment(content, FACTS).decode()
    facts = Facts.read(text)
    if facts.text != text:
        raise NotValid(f"{FACTS} is not written as the laboratory writes it")
    if attachment(content, READINGS).decode() != csv_of(facts):
        raise NotValid(f"{READINGS} says something else than {FACTS}")
    return facts


def check_printed(content: bytes, facts: Facts) -> str:
    """What a reader sees says what the attachments say."""
    document = PdfDocument.from_bytes(content)
    spans = [span.text for page in range(document.page_count()) for span in document.extract_spans(page)]
    seen = "".join("".join(spans).split())
    wanted = [facts.number, facts.sha256, facts.report["verification_code"]]
    figures = [figure for request in facts.requests for figure in request.figures]
    for figure in figures:
        row = f"{figure.stage}{figure.change}{figure.u or '–'}"
        # A long name is set on several lines, its figures between them.
        wanted += (
            [f"{figure.direction}{row}"] if len(figure.direction) <= ONE_LINE else [*figure.direction.split(), row]
        )
    lacking = [words for words in wanted if "".join(words.split()) not in seen]
    if lacking:
        raise NotValid(f"it is not printed what the attachments say: {lacking[0]}")
    return f"{len(figures)} results, number, code and SHA-256 as attached"


def check_figures(content: bytes, facts: Facts) -> str:
    count, wrong = differences(facts, attachment(content, READINGS).decode())
    if wrong:
        raise NotValid(f"the readings do not give the figures: {wrong[0]}")
    return f"{count} results from the readings attached"
