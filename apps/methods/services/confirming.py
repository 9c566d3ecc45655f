"""A manager holds a figure against the lab's own copy of the standard."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.texts import line
from apps.methods.models import Confirmation, Figure
from apps.methods.numbers import check_row, read
from apps.methods.queries import Catalogued
from apps.methods.services.locking import lock_row
from apps.trail import services as trail


@transaction.atomic
def confirm_figure(
    *, figure_id: int, shown_value: str, value: str, note: str, by: User, at: datetime, key: UUID | None = None
) -> Confirmation:
    """The lab's copy of the standard says so: `value` holds from now on, and `note` tells where it stands there.

    `shown_value` is what the page showed. Another value than that overrides the catalogue; where the rules reckon with
    the number, the row's own column is set too, which no edition allows that a request already uses.
    """
    value = line(value, what="The value", field="value", most=300)
    note = line(note, what="The place in the copy", field="note", most=300)
    row = lock_row(Figure.objects.get(pk=figure_id).owner)
    figure = Figure.objects.select_for_update(no_key=True).get(pk=figure_id)
    payload = {"act": "confirm", "figure": figure_id, "shown": shown_value, "value": value, "note": note}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Confirmation.objects.get(pk=done.facts["confirmation"])
    clock.check_moment(at, what="The confirmation")
    last = figure.confirmations.order_by("-ordinal").first()
    stands = last.value if last else figure.value
    if shown_value != stands:
        raise StalePage(f"{_named(figure)} was changed after this page was opened. It now says {stands}. Look again.")
    if not value:
        raise Refusal("Type the value that the lab's copy gives.", code="value_missing", field="value")
    if not note:
        raise Refusal(
            "Say where it stands in the lab's copy: edition and clause, or table.", code="note_missing", field="note"
        )
    if last and value == stands:
        raise Refusal(
            f"{_named(figure)} is confirmed already, by {last.by.full_name}: {last.note}", code="already_confirmed"
        )
    if figure.field and value != stands and row is not None:
        _set_columns(row, read(figure.field, value))
    confirmation = Confirmation.objects.create(
        figure=figure, ordinal=last.ordinal + 1 if last else 1, was=stands, value=value, note=note, by=by, at=at
    )
    facts = {
        "confirmation": confirmation.pk,
        "figure": figure.pk,
        "name": figure.name,
        "was": stands,
        "value": value,
        "note": note,
    }
    kind = "figure.overridden" if confirmation.overrides else "figure.confirmed"
    trail.record(stream=figure.owner, kind=kind, by=by, at=at, facts=facts, key=key, payload=payload)
    return confirmation


def _named(figure: Figure) -> str:
    return figure.name[:1].upper() + figure.name[1:]


def _set_columns(row: Catalogued, values: dict[str, Any]) -> None:
    """What the rules reckon with. Whether a request uses the edition, the database knows: its guard refuses."""
    changes = {column: value for column, value in values.items() if getattr(row, column) != value}
    if not changes:
        return
    for column, value in changes.items():
        setattr(row, column, value)
    try:
        check_row(row)
    except Refusal as refusal:
        raise Refusal(str(refusal), code=refusal.code, field="value") from refusal
    try:
        with transaction.atomic():
            row.save(update_fields=list(changes))
    except IntegrityError as error:
        if "never altered" in str(error):
            raise Refusal(
                f"{row} is in use: a request was made by it, and what it was tested by is never altered. The number can"
                " be confirmed as it stands. For another one, make a copy of the lab's own and set it there.",
                code="edition_in_use",
                field="value",
            ) from error
        raise Refusal(
            f"With this number there would be two of {row} that are alike.", code="two_alike", field="value"
        ) from error
