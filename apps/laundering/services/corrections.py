"""A closed run was written down wrongly: the record is superseded as a whole, with who and why."""

import uuid
from dataclasses import asdict
from datetime import datetime

from django.db import transaction
from django.db.models import Max

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal, RequestIsLocked, StalePage
from apps.equipment.models import Equipment
from apps.intake.locks import is_open
from apps.intake.models import Request
from apps.laundering.models import Load, LoadCorrection, LoadPiece
from apps.laundering.services import rules
from apps.laundering.services.acts import (
    check_state,
    hold_load,
    requests_of,
    told_problems,
    write_deviations,
    write_down,
)
from apps.laundering.services.conditions import WashRecord
from apps.laundering.services.figures import words
from apps.trail import services as trail


@transaction.atomic
def correct_load(
    *,
    load_id: int,
    shown_revision: int,
    record: WashRecord,
    reason: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> LoadCorrection:
    """What the record of a closed load should have said, whole. The old one stays and is shown beside it.

    Refused while an issued report rests on it that no amendment has opened for its cycle record: the requests are
    named. What turns out to be outside of the procedure is disclosed as a deviation, never hidden.
    """
    payload = ["correct_load", load_id, shown_revision, asdict(record), reason]
    load, pieces = hold_load(load_id)
    if done := trail.repeated(key=key, payload=payload, by=by):
        return LoadCorrection.objects.get(load=load, revision=done.facts["revision"])
    check_state(load, Load.State.WASHED, Load.State.VOID)
    if load.wash_started_at is None:
        raise Refusal("This load was taken apart dry; there is no wash to put right.", code="never_washed")
    touched = [piece for piece in pieces if piece.outcome != LoadPiece.Outcome.OUT]
    _check_reports(touched)
    revision = load.corrections.aggregate(last=Max("revision"))["last"] or 0
    if revision != shown_revision:
        raise StalePage("Somebody corrected this load meanwhile. Look at what it says now.")
    reason = words(reason, what="The reason", field="reason", most=rules.WHY_LENGTH, needed=True)
    wash, rinse = record.read(), record.read_rinse()
    washer = _washer(wash.washer_id)
    _check_times(load, touched, record.wash_started_at, record.wash_ended_at)
    rest = {
        "rinse_temp_c": rinse,
        "spun": record.spun,
        "wash_started_at": record.wash_started_at,
        "wash_ended_at": record.wash_ended_at,
    }
    row = LoadCorrection.objects.create(
        load=load, revision=revision + 1, reason=reason, by=by, at=at, **wash.columns(), **rest
    )
    if problems := wash.problems(load.procedure):
        told = told_problems(f"Load {load.pk}, record corrected", problems, reason, kind="wash")
        write_deviations(pieces=touched, load_number=load.pk, told=told, at_risk=False, by=by, at=at)
    facts = {"load": load.pk, "revision": row.revision, "reason": reason, "washer": washer.name, **wash.facts(), **rest}
    write_down(pieces=touched, kind="load.corrected", facts=facts, by=by, at=at, key=key, payload=payload)
    return row


def _washer(washer_id: int) -> Equipment:
    washer = Equipment.objects.filter(pk=washer_id, kind=Equipment.Kind.WASHER).first()
    if washer is None:
        raise Refusal("Choose the washer.", code="no_washer", field="washer")
    return washer


def _check_reports(pieces: list[LoadPiece]) -> None:
    """Name every issued request that the load touches and that no amendment has opened for this."""
    shut = [request for request in requests_of(pieces) if not is_open(request, Request.OpenedFor.CYCLE_RECORD)]
    if shut:
        names = ", ".join(str(request) for request in shut)
        raise RequestIsLocked(
            f"Reports rest on this load: {names}. The manager first opens an amendment of each, for the cycle record."
        )


def _check_times(load: Load, pieces: list[LoadPiece], started: datetime, ended: datetime) -> None:
    clock.check_moment(started, after=load.made_up_at, what="The start of the wash")
    clock.check_moment(ended, after=started, what="The end of the wash")
    dryings = [piece.drying.started_at for piece in pieces if piece.drying]
    if dryings and ended > min(dryings):
        raise Refusal(
            "The wash would end after its pieces began to dry.", code="after_next_step", field="wash_ended_at"
        )
