"""What anybody may ask of a report, and all that is answered: was it issued here, and how does it stand.

Nothing is told of a report to whom does not have its file, or its number with its code.
"""

import hmac
from dataclasses import dataclass

from apps.core.jsontext import sha256
from apps.reporting.models import Report, ReportFile
from apps.reporting.queries.reports import Issued, as_they_stand

LARGEST = 20 * 1024 * 1024


@dataclass(frozen=True)
class Answer:
    """`state`: as an issued report stands, or changed, or unknown. `issued` is None when it is not ours."""

    state: str
    issued: Issued | None = None

    @property
    def is_ours(self) -> bool:
        return self.issued is not None


UNKNOWN = Answer("unknown")


def by_code(number: str, code: str) -> Answer:
    """By what is printed on it. A wrong code and a number that does not exist are answered alike."""
    report = _issued_with_file().filter(number=number.strip().upper()).first()
    typed = "".join(code.split()).replace("-", "").upper()
    known = report.verification_code if report else "no such report"
    if not hmac.compare_digest(known.encode(), typed.encode()) or report is None:
        return UNKNOWN
    return _standing(report)


def by_file(content: bytes) -> Answer:
    """By the file itself: issued here and unchanged; or it says that it is one of ours and differs from it."""
    from apps.reporting.seal.checking import attached_facts  # reads pyhanko: not at every start

    file = ReportFile.objects.filter(blob_id=sha256(content), kind=ReportFile.Kind.PDF).first()
    if file is not None:
        return _standing(_issued_with_file().get(pk=file.report_id))
    try:
        facts = attached_facts(content)
        claimed = by_code(facts.number, facts.report["verification_code"])
    except Exception:  # whatever a stranger's file does, it is not ours
        return UNKNOWN
    return Answer("changed", claimed.issued) if claimed.is_ours else UNKNOWN


def _issued_with_file():
    return as_they_stand(Report.objects.filter(files__kind=ReportFile.Kind.PDF)).defer("facts", "replaced_by__facts")


def _standing(report: Report) -> Answer:
    issued = Issued(report)
    return Answer(issued.state, issued)
