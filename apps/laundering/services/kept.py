"""Taps that no longer fit when they come: kept as they were tapped, and judged by the manager."""

import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.jsontext import canonical
from apps.laundering.models import KeptTap, Load, LoadPiece
from apps.laundering.services.acts import hold_pieces, write_down
from apps.laundering.services.figures import words
from apps.trail import services as trail

FIELDS_AT_MOST, SIGNS_AT_MOST = 400, 1000


@dataclass(frozen=True)
class Tap:
    """What a tablet brings: the address tapped at, the fields as sent, and the words that stood on the screen."""

    key: uuid.UUID
    path: str
    what: str
    words: str
    typed: Sequence[tuple[str, str]]


@transaction.atomic
def keep_tap(
    *, tap: Tap, piece_ids: Iterable[int], load_id: int | None, refusal: str, by: User, at: datetime
) -> KeptTap:
    """What somebody tapped without a connection no longer fits: it is written down with the reason, for the manager.

    `at`: when it was tapped. The same tap brought again is answered with the row that is there.
    """
    typed = [[_line(name, 100), _line(value, SIGNS_AT_MOST)] for name, value in tap.typed[:FIELDS_AT_MOST]]
    key = uuid.uuid5(tap.key, canonical([tap.path, typed]))
    pieces = hold_pieces(piece_ids)
    row, is_new = KeptTap.objects.get_or_create(
        key=key,
        defaults={
            "what": _line(tap.what, 300) or "a tap",
            "words": _line(tap.words, 2000),
            "path": _line(tap.path, 200),
            "typed": typed,
            "refusal": _line(refusal, 2000) or "It was refused.",
            "load": Load.objects.filter(pk=load_id).first() if load_id else None,
            "tapped_at": at,
            "by": by,
            "kept_at": clock.now(),
        },
    )
    if is_new:
        row.pieces.set(pieces)
        facts = {"kept": row.pk, "what": row.what, "words": row.words, "refusal": row.refusal}
        _write_down(pieces, row, kind="tap.kept", facts=facts, by=by, at=at)
    return row


@transaction.atomic
def judge_kept(*, kept_id: int, judgement: str, by: User, at: datetime, key: uuid.UUID | None = None) -> KeptTap:
    """The manager says what becomes of a kept tap: entered anew, or why it does not count. Once, and it stays."""
    payload = ["judge_kept", kept_id, judgement]
    pieces = hold_pieces(kept_taps=kept_id)
    row = KeptTap.objects.select_for_update(no_key=True, of=("self",)).select_related("judged_by").get(pk=kept_id)
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    if not by.manager:
        raise Refusal("A manager judges what was kept.", code="not_a_manager")
    if row.judged_at is not None:
        raise Refusal(f"{row.judged_by} has judged this already: {row.judgement}", code="judged")
    row.judgement = words(judgement, what="What becomes of it", field="judgement", most=500, needed=True)
    clock.check_moment(at, after=row.kept_at, what="The judgement")
    row.judged_by, row.judged_at = by, at
    row.save(update_fields=["judgement", "judged_by", "judged_at"])
    facts = {"kept": row.pk, "what": row.what, "judgement": row.judgement}
    _write_down(pieces, row, kind="tap.judged", facts=facts, by=by, at=at, key=key, payload=payload)
    return row


def _write_down(pieces: Sequence[LoadPiece], row: KeptTap, **act) -> None:
    """In the trail of the jobs it was about; of a tap about nothing that is there, in that of the person."""
    if pieces:
        write_down(pieces=pieces, **act)
    else:
        trail.record(stream=f"user:{row.by_id}", **act)


def _line(text: str, most: int) -> str:
    """Never refused for what it holds: signs that the book cannot hold are shown as missing, the rest is cut."""
    return text.replace("\0", "\N{REPLACEMENT CHARACTER}")[:most]
