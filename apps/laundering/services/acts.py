"""What every act of the laundry does: hold the rows in the house's order, and write down what was done."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from apps.accounts.models import User
from apps.core.errors import Refusal, StalePage
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Request
from apps.intake.services import deviate, disclose_late
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.services import rules
from apps.laundering.services.figures import words
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


def hold_load(load_id: int, *, shown: Iterable[int] | None = None) -> tuple[Load, list[LoadPiece]]:
    """A load with all its pieces, their jobs and requests held.

    `shown`: the pieces that the page showed in it. A load that was weighed with fewer pieces is not the one to start.
    """
    pieces = hold_pieces(load_id=load_id)
    (load,) = hold_loads([load_id])
    there = set(LoadPiece.objects.filter(load_id=load_id).values_list("pk", flat=True))
    held = {piece.pk for piece in pieces if piece.open}
    if there != {piece.pk for piece in pieces} or (
        shown is not None and load.state == "made_up" and set(shown) != held
    ):
        raise StalePage(
            "Pieces went into this load or out of it meanwhile. Look at the load again, and weigh it again."
        )
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


@dataclass(frozen=True)
class Otherwise:
    """What somebody writes when an act is not as asked: a reason for each problem by its code, or one for the only one.

    `text` beside them is disclosed as it is. `late_reason`: why it is entered hours after it was done.
    """

    text: str = ""
    reasons: Mapping[str, str] = field(default_factory=dict)
    at_risk: bool = False
    late_reason: str = ""

    @property
    def payload(self) -> list[Any]:
        return [self.text, sorted(self.reasons.items()), self.at_risk, self.late_reason]

    def answered(self, problems: Sequence[Problem], *, kind: str, by: User) -> list[tuple[str, str]]:
        """(kind, text) of each deviation to write; refused where something is not as asked and no reason stands."""
        text = words(self.text, what="The deviation", field="deviation", most=rules.WHY_LENGTH)
        whys = rules.written_reasons(problems, text=text, reasons=self.reasons, at_risk=self.at_risk, by=by)
        told = [(problem.kind, f"{problem.fact} Reason: {whys[problem.code]}") for problem in problems]
        return told if not text or text in whys.values() else [*told, (kind, text)]

    def risk(self, by: User) -> bool:
        return self.at_risk and not by.manager


def of_run(run: str, told: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
    return [(kind, f"{run}: {text}") for kind, text in told]


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
