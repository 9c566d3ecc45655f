"""Issued reports: found by their number, with where they stand now."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from django.db.models import Case, CharField, Exists, OuterRef, Prefetch, QuerySet, Subquery, Value, When

from apps.accounts.models import User
from apps.intake.models import Job
from apps.reporting.csvtext import csv_of
from apps.reporting.facts import Facts
from apps.reporting.models import Amendment, Report, ReportFile, ReportRequest
from apps.reporting.workbook import workbook_of
from apps.trail.models import Blob

WORDS = {
    "issued": "in force",
    "interim": "interim",
    "amending": "being amended",
    "superseded": "superseded",
    "withdrawn": "withdrawn",
}


def reports(user: User) -> QuerySet[Report]:
    """The reports that this person may see, as they stand."""
    return as_they_stand(Report.objects.visible_to(user))


def as_they_stand(rows: QuerySet[Report]) -> QuerySet[Report]:
    """Each with the SHA-256 of its PDF (`pdf`, none while it is being made), whether the PDF of the revision that
    replaces it is there (`successor_there`), and since when an amendment of it is open (`being_amended`)."""
    pdf = ReportFile.objects.filter(report=OuterRef("pk"), kind=ReportFile.Kind.PDF).values("blob_id")[:1]
    later = ReportFile.objects.filter(report__replaces=OuterRef("pk"), kind=ReportFile.Kind.PDF)
    amended = Amendment.objects.still_open().filter(report=OuterRef("pk")).values("at")[:1]
    final = ReportRequest.objects.filter(
        request__covered_by__report=OuterRef("pk"), report__interim=False, report__files__kind=ReportFile.Kind.PDF
    ).exclude(report=OuterRef("pk"))
    told = rows.annotate(
        final_number=Case(
            When(interim=True, then=Subquery(final.order_by("-report__revision").values("report__number")[:1])),
            default=Value(None),
            output_field=CharField(null=True),
        ),
        pdf=Subquery(pdf),
        successor_there=Exists(later),
        being_amended=Subquery(amended),
    )
    return told.select_related("job", "replaced_by", "withdrawal")


def pdf_bytes(report: Report) -> bytes | None:
    """The file as it was made; None while it is not there."""
    blob = Blob.objects.filter(pk=report.pdf).values_list("content", flat=True).first() if report.pdf else None
    return None if blob is None else bytes(blob)


def csv_bytes(issued: "Issued") -> bytes:
    """Results and readings for a spreadsheet. The mark at the beginning tells it that this is UTF-8."""
    return csv_of(issued.facts).encode("utf-8-sig")


def xlsx_bytes(issued: "Issued") -> bytes:
    """The same as a workbook."""
    return workbook_of(issued.facts)


@dataclass(frozen=True)
class Issued:
    """A report with where it stands: in force (perhaps being amended), superseded by a later revision, or withdrawn."""

    report: Report

    @property
    def replaced_by(self) -> Report | None:
        return getattr(self.report, "replaced_by", None)

    @property
    def withdrawal(self):
        return getattr(self.report, "withdrawal", None)

    @property
    def state(self) -> str:
        if self.withdrawal:
            return "withdrawn"
        if self.replaced_by or self.report.final_number:
            return "superseded"
        if self.report.interim:
            return "interim"
        return "amending" if self.report.being_amended else "issued"

    @property
    def word(self) -> str:
        return WORDS[self.state]

    @property
    def shape(self) -> str:
        return "half" if self.state == "interim" else self.state

    @property
    def followed_by(self) -> str:
        """The number of what takes its place, once that can be opened."""
        return self.report.final_number or (self.successor.number if self.successor else "")

    @property
    def successor(self) -> Report | None:
        """The revision that replaces it, once it can be opened."""
        return self.replaced_by if self.report.successor_there else None

    @property
    def in_force(self) -> bool:
        """It may be relied upon. While an amendment is open it still holds, and its page says so."""
        return self.state in ("issued", "amending", "interim")

    @property
    def amendment(self) -> Amendment | None:
        """The one that is open."""
        rows = Amendment.objects.still_open().filter(report=self.report)
        return rows.select_related("by").first() if self.report.being_amended else None

    @property
    def next_number(self) -> str:
        """What the revision that replaces it will be called."""
        first = self.report.number.rsplit("-R", 1)[0] if self.report.revision else self.report.number
        return f"{first}-R{self.report.revision + 1}"

    @property
    def history(self) -> list[Report]:
        """All revisions of this report, first to last, each with its amendments and how they ended."""
        rows = Report.objects.filter(job=self.report.job_id, serial=self.report.serial).order_by("revision")
        ended = Amendment.objects.select_related("by", "closing__by", "closed_by").order_by("at", "pk")
        told = rows.defer("facts").select_related("approved_by", "withdrawal__by", "replaced_by")
        return list(told.prefetch_related(Prefetch("amendments", ended)))

    @property
    def has_file(self) -> bool:
        return bool(self.report.pdf)

    @cached_property
    def facts(self) -> Facts:
        return Facts.read(self.report.facts)


def issued_on(user: User, jobs: Iterable[Job], *, with_facts: bool = False) -> dict[int, list[Issued]]:
    """What was issued on these jobs, as this person may see it, newest first; by the job's key, in one query."""
    found: dict[int, list[Issued]] = {job.pk: [] for job in jobs}
    rows = reports(user).filter(job__in=found)
    if not with_facts:
        rows = rows.defer("facts", "replaced_by__facts")
    for report in rows.order_by("-serial", "-revision"):
        found[report.job_id].append(Issued(report))
    return found


def reported(user: User, jobs: Iterable[Job]) -> dict[int, str]:
    """By the key of a request of these jobs, "issued" or "withdrawn": what became of its newest report, as far as this
    person may see it. One that is replaced by a revision still being made does not count."""
    newest = Report.objects.visible_to(user).filter(job__in=list(jobs), replaced_by=None, interim=False)
    rows = ReportRequest.objects.filter(report__in=newest.values("pk"))
    told = rows.values_list("request_id", "report__withdrawal")
    return {request_id: "withdrawn" if withdrawal else "issued" for request_id, withdrawal in told}
