"""Who may sign for a method: granted by the lab for one exact edition, with deputies, and ended with a reason."""

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.db import transaction

from apps.accounts.models import Role, User
from apps.core.errors import Refusal
from apps.methods.models import TestMethod
from apps.reporting.models import Signatory
from apps.trail import services as trail


@transaction.atomic
def grant_signatory(
    *, method_id: int, person_id: int, deputy: bool, by: User, at: datetime, key: uuid.UUID | None = None
) -> Signatory:
    """From now on this manager signs reports on this edition; a deputy does so in another's absence."""
    method = TestMethod.objects.select_for_update(no_key=True).get(pk=method_id)
    person = User.objects.get(pk=person_id)
    payload = {"method": method.owner, "person": person_id, "deputy": deputy}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Signatory.objects.get(pk=done.facts["signatory"])
    _check_manager(by)
    if not person.is_active or Role.MANAGER not in person.roles:
        raise Refusal("Only a lab manager who may sign in signs reports.", code="not_manager", field="person")
    if Signatory.objects.filter(method=method, person=person, ended_at=None).exists():
        raise Refusal(f"{person} signs for {method} already.", code="signs_already", field="person")
    row = Signatory.objects.create(method=method, person=person, deputy=deputy, since=at, by=by)
    facts = {"signatory": row.pk, "method": str(method), "person": person.full_name, "deputy": deputy}
    trail.record(stream=method.owner, kind="signatory.granted", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def end_signatory(*, signatory_id: int, reason: str, by: User, at: datetime, key: uuid.UUID | None = None) -> Signatory:
    """From now on this person signs no more reports on this edition. What is signed stays signed."""
    method_id = Signatory.objects.values_list("method_id", flat=True).get(pk=signatory_id)
    method = TestMethod.objects.select_for_update(no_key=True).get(pk=method_id)
    row = Signatory.objects.select_related("person").get(pk=signatory_id)
    payload = {"signatory": row.pk, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    _check_manager(by)
    if not reason.strip():
        raise Refusal("Say why; it is kept.", code="no_reason", field="reason")
    if row.ended_at is not None:
        raise Refusal(f"{row.person} signs for {method} no more already.", code="ended_already")
    row.ended_at, row.ended_by, row.end_reason = at, by, reason.strip()
    row.save(update_fields=["ended_at", "ended_by", "end_reason"])
    facts = {"signatory": row.pk, "method": str(method), "person": row.person.full_name, "reason": row.end_reason}
    trail.record(stream=method.owner, kind="signatory.ended", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def signs_as(*, methods: Iterable[TestMethod], by: User) -> str:
    """How this person signs for all of these methods: as signatory, or as deputy for one of them at least."""
    wanted = {method.pk: method for method in methods}
    rows = {row.method_id: row for row in Signatory.objects.filter(method__in=wanted, person=by, ended_at=None)}
    lacking = sorted(str(method) for pk, method in wanted.items() if pk not in rows)
    if lacking:
        raise Refusal(
            f"You are no signatory for {', '.join(lacking)}. The page “Signatories” says who is.",
            code="not_signatory",
        )
    return next((row.word for row in rows.values() if row.deputy), "signatory")


def _check_manager(by: User) -> None:
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager says who signs.", code="not_manager")
