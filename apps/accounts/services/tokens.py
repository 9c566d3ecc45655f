"""Tokens: how a program comes in, by a text that only its person was shown."""

import secrets
from datetime import date, datetime, timedelta
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import Token, User
from apps.core.errors import Refusal
from apps.core.jsontext import sha256
from apps.core.texts import line
from apps.trail import services as trail

LONGEST = timedelta(days=366)
MOST = 20


@transaction.atomic
def make_token(*, name: str, ends_on: date, by: User, at: datetime, key: UUID | None = None) -> tuple[Token, str]:
    """Somebody lets a program in, for one purpose and until a day. The text that comes back is never told again."""
    name = line(name, most=80, field="name", what="The name")
    payload = {"name": name, "ends_on": ends_on}
    person = User.objects.select_for_update().get(pk=by.pk)
    if trail.repeated(key=key, payload=payload, by=by):
        raise Refusal(
            "This token is made already, and its text is shown once only. If it was not kept, end it and make another.",
            code="shown_once",
        )
    _check(name, ends_on, person, timezone.localdate(at))
    text = f"fulling_{secrets.token_urlsafe(32)}"
    token = Token.objects.create(person=person, name=name, sha256=sha256(text), made_at=at, ends_on=ends_on)
    facts = {"token": token.pk, "name": name, "ends_on": ends_on}
    trail.record(stream=f"user:{by.pk}", kind="token.made", by=by, at=at, facts=facts, key=key, payload=payload)
    return token, text


def _check(name: str, ends_on: date, person: User, today: date) -> None:
    if not name:
        raise Refusal("Say what the token is for: which program or device.", code="token_name", field="name")
    if not today < ends_on <= today + LONGEST:
        raise Refusal(
            "A token holds for a day at least and a year at most. Choose a day within the year.",
            code="token_end",
            field="ends_on",
        )
    there = Token.objects.filter(person=person, ended_at=None)
    if there.filter(name=name).exists():
        raise Refusal(
            "There is a token of this name. End it first, or name the new one otherwise.",
            code="token_taken",
            field="name",
        )
    if there.count() >= MOST:
        raise Refusal(f"{MOST} tokens are as many as one person has. End one first.", code="too_many_tokens")


@transaction.atomic
def end_token(*, token_id: int, by: User, at: datetime) -> Token:
    """A token no longer holds: its person ends it, or a manager does. Ending it again changes nothing."""
    token = Token.objects.select_for_update(of=("self",)).select_related("person").get(pk=token_id)
    if token.ended_at is None:
        _end(token, by, at)
    return token


@transaction.atomic
def end_tokens_of(*, person: User, by: User, at: datetime) -> int:
    """No program comes in with this person's rights any more; how many did. The caller holds the person's row."""
    there = Token.objects.select_for_update(of=("self",)).filter(person=person, ended_at=None)
    tokens = list(there.order_by("pk"))
    for token in tokens:
        _end(token, by, at)
    return len(tokens)


def _end(token: Token, by: User, at: datetime) -> None:
    token.ended_at, token.ended_by = at, by
    token.save(update_fields=["ended_at", "ended_by"])
    facts = {"token": token.pk, "name": token.name, "own": token.person_id == by.pk}
    trail.record(stream=f"user:{token.person_id}", kind="token.ended", by=by, at=at, facts=facts)


def note_use(*, token: Token, at: datetime) -> None:
    """The day a token was last used, written once a day."""
    today = timezone.localdate(at)
    if token.last_used_on is None or token.last_used_on < today:
        Token.objects.filter(pk=token.pk).update(last_used_on=today)
