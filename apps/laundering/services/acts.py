"""What every act of the laundry does: hold the rows in the house's order, and write down what was done."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from apps.accounts.models import User
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request
from apps.intake.services import deviate, disclose_late
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.services.rules import Problem
from apps.trail import services as trail

WITH_JOB = ("specimen__request__sample__job", "specimen__request__drying", "specimen__request__procedure")


def hold_pieces(pieces: Iterable[int] | None = None, **where: Any) -> list[LoadPiece]:
    """Hold jobs and requests of these pieces, then read the pieces as they are now."""
    wanted = LoadPiece.objects.filter(**where) if pieces is None else LoadPiece.objects.filter(pk__in=set(pieces))
    ids = dict(wanted.values_list("pk", "specimen__request_id"))
    lock_requests(ids.values())
    return list(LoadPiece.objects.filter(pk__in=ids).select_related(*WITH_JOB, "drying").order_by("specimen_id"))


def hold_loads(load_ids: Iterable[int]) -> list[Load]:
    """Hold load rows in ascending order, after jobs and requests."""
    return list(
        Load.objects.select_for_update(no_key=True, of=("self",))
        .filter(pk__in=set(load_ids))
        .select_related("procedure")
        .order_by("pk")
    )


def hold_drying(drying_id: int) -> Drying:
    """Hold a drying run, after the loads of its pieces."""
    return (
        Drying.objects.select_for_update(no_key=True, of=("self",))
        .select_related("procedure", "dryer")
        .get(pk=drying_id)
    )


def hold_load(load_id: int) -> tuple[Load, list[LoadPiece]]:
    """A load with all its pieces, their jobs and requests held."""
    pieces = hold_pieces(load_id=load_id)
    (load,) = hold_loads([load_id])
    return load, pieces


def in_hand(pieces: Iterable[LoadPiece]) -> list[LoadPiece]:
    """Pieces still in the load, without a cycle yet; their requests must be open for the cycle record."""
    pieces = [piece for piece in pieces if piece.open]
    for request in requests_of(pieces):
        ensure_open(request, Request.OpenedFor.CYCLE_RECORD)
    return pieces


def requests_of(pieces: Iterable[LoadPiece]) -> list[Request]:
    return list({piece.specimen.request_id: piece.specimen.request for piece in pieces}.values())


def check_state(load: Load, *states: str) -> None:
    if load.state not in states:
        raise Refusal(
            f"Load {load.pk} is {load.get_state_display()}. Look at the load again.", code=f"load_{load.state}"
        )


def write_deviations(
    *,
    pieces: Sequence[LoadPiece],
    load_number: int | None,
    told: Sequence[tuple[str, str]],
    at_risk: bool,
    by: User,
    at: datetime,
) -> None:
    """Each (kind, text) goes into every job that is touched, once a request."""
    for request in requests_of(pieces):
        for kind, text in told:
            deviate(
                job_id=request.sample.job_id,
                request_id=request.pk,
                load_number=load_number,
                kind=kind,
                text=text,
                by=by,
                at=at,
                at_risk=at_risk,
            )


def told_problems(run: str, problems: Sequence[Problem], why: str, *, kind: str) -> list[tuple[str, str]]:
    """(kind, text) of the deviations to write; what is written down without a problem is told as it is."""
    if why and not problems:
        return [(kind, f"{run}: {why}")]
    return [(problem.kind, f"{run}: {problem.fact} Reason: {why}") for problem in problems]


def disclose(*, pieces: Sequence[LoadPiece], what: str, reason: str, by: User, at: datetime) -> None:
    """What is entered late is said so in every job that is touched."""
    for request in requests_of(pieces):
        disclose_late(job_id=request.sample.job_id, request_id=request.pk, what=what, reason=reason, by=by, at=at)


def write_down(
    *,
    pieces: Sequence[LoadPiece],
    kind: str,
    facts: Mapping[str, Any],
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
    payload: Any = None,
) -> None:
    """The act in the trail of every job that is touched. Each tells its own pieces with their cycle, and how many
    of other jobs there were."""
    by_stream: dict[str, dict[str, int]] = {}
    for piece in pieces:
        own = by_stream.setdefault(piece.specimen.request.sample.job.stream, {})
        own[piece.specimen.code] = piece.ordinal
    for stream, own in sorted(by_stream.items()):
        told = {**facts, "pieces": own, "pieces_of_other_jobs": len(pieces) - len(own)}
        trail.record(stream=stream, kind=kind, by=by, at=at, facts=told, key=key, payload=payload)
        key = payload = None
