"""A customer says beforehand what is coming; the parcel then becomes a job (`receive_job`)."""

import uuid
from dataclasses import asdict, dataclass
from datetime import date, datetime

from django.db import transaction

from apps.accounts.models import Customer, User
from apps.core.errors import Refusal
from apps.intake.models import Announcement, Job
from apps.trail import services as trail


@dataclass(frozen=True)
class Announced:
    """What the customer typed. Samples and test are fields and texts, as a form sends them."""

    samples: tuple[dict[str, str], ...]
    test: dict[str, str]
    purchase_order: str = ""
    expected_on: date | None = None
    remark: str = ""


@transaction.atomic
def announce(*, details: Announced, by: User, at: datetime, key: uuid.UUID | None = None) -> Announcement:
    """A customer's person tells the lab what is coming and how it is to be tested."""
    if by.customer_id is None:
        raise Refusal("Only a customer announces a parcel.", code="not_a_customer")
    Customer.objects.select_for_update(no_key=True).get(pk=by.customer_id)
    if done := trail.repeated(key=key, payload=asdict(details), by=by):
        return Announcement.objects.get(pk=done.facts["announcement"])
    if not details.samples:
        raise Refusal("Say at least one thing that is coming.", code="no_sample")
    row = Announcement.objects.create(
        customer_id=by.customer_id, by=by, at=at, **{**asdict(details), "samples": list(details.samples)}
    )
    facts = {"announcement": row.pk, "what": row.what, "purchase_order": row.purchase_order}
    trail.record(
        stream=row.stream, kind="parcel.announced", by=by, at=at, facts=facts, key=key, payload=asdict(details)
    )
    return row


@transaction.atomic
def withdraw_announcement(*, announcement_id: int, by: User, at: datetime) -> Announcement:
    """The parcel does not come after all, or comes otherwise."""
    row = lock_announcement(announcement_id)
    if row.withdrawn_at is None:
        row.withdrawn_at = at
        row.save(update_fields=["withdrawn_at"])
        trail.record(
            stream=row.stream, kind="parcel.withdrawn", by=by, at=at, facts={"announcement": row.pk, "what": row.what}
        )
    return row


def lock_announcement(announcement_id: int) -> Announcement:
    """The row, locked; refused when a job was made of it already."""
    row = Announcement.objects.select_for_update().get(pk=announcement_id)
    if row.job_id is not None:
        raise Refusal(f"This was received already, as job {row.job.number}.", code="received")
    return row


def arrived(*, row: Announcement, job: Job) -> None:
    """The announced parcel has become this job."""
    if row.withdrawn_at is not None:
        raise Refusal("The customer has withdrawn this announcement. Receive the parcel without it.", code="withdrawn")
    if row.customer_id != job.customer_id:
        raise Refusal(
            f"{row.customer} announced this parcel. Correct the customer, or receive it without the announcement.",
            code="other_customer",
            field="customer",
        )
    row.job = job
    row.save(update_fields=["job"])
