"""Cloth that was wetted and counts no cycle: the manager says what becomes of each piece."""

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.locks import ensure_open
from apps.intake.models import Request, Specimen
from apps.intake.services import set_aside
from apps.laundering.models import LoadPiece, VoidJudgement
from apps.laundering.services.acts import hold_loads, hold_pieces, requests_of, write_down
from apps.laundering.services.figures import words
from apps.laundering.services.rules import named
from apps.trail import services as trail

Decision = VoidJudgement.Decision


@transaction.atomic
def judge_void(
    *,
    piece_ids: Iterable[int],
    decision: str,
    text: str,
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[VoidJudgement]:
    """The manager judges pieces that a void run wetted: each goes on, which the report says, or is set aside and the
    test repeated on a new specimen. Said once, before the report is approved."""
    ids = sorted(set(piece_ids))
    payload = ["judge_void", ids, decision, text]
    pieces = hold_pieces(ids)
    hold_loads(piece.load_id for piece in pieces)
    if trail.repeated(key=key, payload=payload, by=by):
        return list(VoidJudgement.objects.filter(piece__in=ids))
    if not by.manager:
        raise Refusal("A manager judges what a void run means.", code="not_a_manager")
    if not ids or len(pieces) != len(ids):
        raise Refusal("Choose the pieces that this holds for.", code="no_pieces", field="pieces")
    if decision not in Decision.values:
        raise Refusal("Say whether the pieces go on or are repeated.", code="decision", field="decision")
    text = words(text, what="What it means for the result", field="text", most=300, needed=True)
    _check_open(pieces)
    clock.check_moment(at, what="The judgement")
    rows = [VoidJudgement.objects.create(piece=piece, decision=decision, text=text, by=by, at=at) for piece in pieces]
    facts = {"loads": sorted({piece.load_id for piece in pieces}), "decision": decision, "text": text}
    write_down(pieces=pieces, kind="void.judged", facts=facts, by=by, at=at, key=key, payload=payload)
    if decision == Decision.REPEAT:
        for piece in pieces:
            if piece.specimen.stage != Specimen.Stage.SET_ASIDE:
                reason = f"wetted in load {piece.load_id} without a cycle, to be repeated: {text}"[:300]
                set_aside(specimen_id=piece.specimen_id, reason=reason, by=by, at=at)
    return rows


def _check_open(pieces: list[LoadPiece]) -> None:
    for request in requests_of(pieces):
        ensure_open(request, Request.OpenedFor.CYCLE_RECORD)
    judged = set(VoidJudgement.objects.filter(piece__in=pieces).values_list("piece_id", flat=True))
    for piece in pieces:
        if piece.outcome != LoadPiece.Outcome.VOID:
            raise Refusal(f"{named(piece.specimen)} was not wetted in vain there.", code="not_void", field="pieces")
        if piece.pk in judged:
            raise Refusal(f"{named(piece.specimen)} is judged already.", code="judged", field="pieces")
