"""Work that was not as it should be, complaints, and results that another laboratory gave."""

import uuid
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.db import transaction

from apps.accounts.models import User
from apps.accounts.services import write_to_customer
from apps.core.errors import Refusal
from apps.intake.locks import lock_jobs, lock_sample
from apps.intake.models import Job
from apps.reporting.models import ExternalResult, Nonconformity, NonconformityJob, NonconformityNote
from apps.trail import services as trail

Kind = NonconformityNote.Kind


@transaction.atomic
def record_nonconformity(
    *,
    kind: str,
    title: str,
    what: str,
    found_on: date,
    jobs: Sequence[str],
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> Nonconformity:
    """Work or a result was not as it should be, or a customer complained: what, found when, touching which jobs."""
    numbers = list(dict.fromkeys(number.strip().upper() for number in jobs if number.strip()))
    found = lock_jobs(Job.objects.filter(number__in=numbers).values_list("pk", flat=True))
    payload = [kind, title, what, found_on, numbers]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Nonconformity.objects.get(pk=done.facts["nonconformity"])
    missing = sorted(set(numbers) - {job.number for job in found})
    if missing:
        raise Refusal(f"There is no job {', '.join(missing)}.", code="no_job", field="jobs")
    if not title.strip() or not what.strip():
        raise Refusal("Say what was found.", code="no_text", field="what")
    if found_on > at.date():
        raise Refusal("It cannot have been found in the future.", code="future", field="found_on")
    row = Nonconformity.objects.create(
        kind=kind, title=title.strip(), what=what.strip(), found_on=found_on, by=by, at=at
    )
    NonconformityJob.objects.bulk_create(NonconformityJob(nonconformity=row, job=job) for job in found)
    facts = {"nonconformity": row.pk, "title": row.title, "kind": kind, "jobs": [job.number for job in found]}
    streams = [f"nonconformity:{row.pk}", *(job.stream for job in found)]
    trail.record(stream=streams, kind="nonconformity.recorded", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def note_nonconformity(
    *, nonconformity_id: int, kind: str, text: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> NonconformityNote:
    """What was done about it. “Customers told” writes to every customer of its jobs in these very words."""
    row = Nonconformity.objects.get(pk=nonconformity_id)
    jobs = lock_jobs(row.touches.values_list("job_id", flat=True))
    payload = [nonconformity_id, kind, text]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return NonconformityNote.objects.get(pk=done.facts["note"])
    if not text.strip():
        raise Refusal("Say what was done.", code="no_text", field="text")
    if row.notes.filter(kind=Kind.CLOSED).exists():
        raise Refusal("This record is closed. Open a new one.", code="closed")
    if kind == Kind.TOLD and not jobs:
        raise Refusal("No job is named in this record, so there is nobody to tell.", code="nobody", field="kind")
    note = NonconformityNote.objects.create(nonconformity=row, kind=kind, text=text.strip(), by=by, at=at)
    facts = {"nonconformity": row.pk, "note": note.pk, "kind": kind, "text": note.text, "title": row.title}
    streams = [f"nonconformity:{row.pk}", *(job.stream for job in jobs)]
    trail.record(stream=streams, kind="nonconformity.noted", by=by, at=at, facts=facts, key=key, payload=payload)
    if kind == Kind.TOLD:
        numbers: dict = {}
        for job in Job.objects.filter(pk__in=[job.pk for job in jobs]).select_related("customer").order_by("number"):
            numbers.setdefault(job.customer, []).append(job.number)
        for customer, own in numbers.items():
            subject, body = f"About your job {', '.join(own)}", f"{note.text}\n\nIt concerns: {', '.join(own)}."
            write_to_customer(customer=customer, subject=subject, body=body, at=at)
    return note


@dataclass(frozen=True, kw_only=True)
class ExternalDetails:
    """What another laboratory found, and by whose leave it was asked."""

    laboratory: str
    accreditation: str
    test: str
    result: str
    reference: str
    consent: str


@transaction.atomic
def add_external_result(
    *,
    sample_id: int,
    details: ExternalDetails,
    file: bytes | None,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> ExternalResult:
    """A result of another laboratory on this sample: printed as theirs, in the reports to come."""
    sample = lock_sample(sample_id)
    payload = [sample.code, asdict(details)]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return ExternalResult.objects.get(pk=done.facts["external_result"])
    lacking = [name for name, text in asdict(details).items() if name != "accreditation" and not text.strip()]
    if lacking:
        raise Refusal("This is needed too.", code="lacking", field=lacking[0])
    if file is not None and not file.startswith(b"%PDF-"):
        raise Refusal("Their report is kept as a PDF.", code="no_pdf", field="file")
    blob = trail.store_blob(content=file, content_type="application/pdf") if file else None
    row = ExternalResult.objects.create(sample=sample, file=blob, by=by, at=at, **asdict(details))
    facts = {"external_result": row.pk, "sample": sample.code, **asdict(details), "file": blob.sha256 if blob else ""}
    stream = sample.job.stream
    trail.record(stream=stream, kind="external_result.added", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def void_external_result(
    *, result_id: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> ExternalResult:
    """It was taken down wrong. It stays in the book and is printed no more."""
    sample = lock_sample(ExternalResult.objects.values_list("sample_id", flat=True).get(pk=result_id))
    row = ExternalResult.objects.get(pk=result_id)
    payload = [result_id, reason]
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    if not reason.strip():
        raise Refusal("Say why; it is kept.", code="no_reason", field="reason")
    if row.voided_at is not None:
        raise Refusal("This is void already.", code="void_already")
    row.voided_by, row.voided_at, row.void_reason = by, at, reason.strip()
    row.save(update_fields=["voided_by", "voided_at", "void_reason"])
    facts = {"external_result": row.pk, "sample": sample.code, "reason": row.void_reason}
    stream = sample.job.stream
    trail.record(stream=stream, kind="external_result.voided", by=by, at=at, facts=facts, key=key, payload=payload)
    return row
