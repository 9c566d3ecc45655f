"""What of the catalogue is offered at the desk, and what lies within the accreditation."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.methods.models import TestMethod
from apps.methods.queries import Catalogued, unconfirmed
from apps.methods.services.locking import lock_row
from apps.trail import services as trail


@transaction.atomic
def retire(*, owner: str, reason: str, by: User, at: datetime, key: UUID | None = None) -> Catalogued:
    """A method, wash, drying or extra measurement is offered no more. Requests that have it go on with it."""
    reason = line(reason, what="The reason", field="reason", most=200)
    row = lock_row(owner)
    payload = {"act": "retire", "owner": owner, "reason": reason}
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    clock.check_moment(at)
    if not reason:
        raise Refusal("Say why it is offered no more.", code="reason_missing", field="reason")
    if row.retired:
        raise Refusal(f"{row} is not offered anyway.", code="already_retired")
    row.retired = True
    row.save(update_fields=["retired"])
    facts = {"row": str(row), "reason": reason}
    trail.record(stream=owner, kind="catalogue.retired", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def take_back(*, owner: str, by: User, at: datetime, key: UUID | None = None) -> Catalogued:
    """It is offered again, or for the first time once nothing that the rules need is missing."""
    row = lock_row(owner)
    payload = {"act": "take_back", "owner": owner}
    if trail.repeated(key=key, payload=payload, by=by):
        return row
    clock.check_moment(at)
    if not row.retired:
        raise Refusal(f"{row} is offered already.", code="already_offered")
    if row.missing:
        raise Refusal(
            f"{row} cannot be tested by yet. Not known: {', '.join(row.missing)}. Set these from the lab's own copy of"
            " the standard, or make a copy of the lab's own.",
            code="not_complete",
        )
    row.retired = False
    row.save(update_fields=["retired"])
    trail.record(
        stream=owner, kind="catalogue.taken_back", by=by, at=at, facts={"row": str(row)}, key=key, payload=payload
    )
    return row


@transaction.atomic
def set_scope(*, method_id: int, in_scope: bool, by: User, at: datetime, key: UUID | None = None) -> TestMethod:
    """The edition lies within the accreditation, or no more. Within only when every figure of it is confirmed."""
    method = lock_row(TestMethod.objects.get(pk=method_id).owner)
    payload = {"act": "scope", "method": method_id, "in_scope": in_scope}
    if trail.repeated(key=key, payload=payload, by=by):
        return method
    clock.check_moment(at)
    if method.in_scope == in_scope:
        where = "within" if in_scope else "outside"
        raise Refusal(f"{method} is {where} the accreditation already.", code="scope_already")
    if in_scope:
        _check_confirmed(method)
    method.in_scope = in_scope
    method.save(update_fields=["in_scope"])
    kind = "method.in_scope" if in_scope else "method.out_of_scope"
    trail.record(stream=method.owner, kind=kind, by=by, at=at, facts={"row": str(method)}, key=key, payload=payload)
    return method


def _check_confirmed(method: TestMethod) -> None:
    names = list(unconfirmed(method).values_list("name", flat=True))
    if not names:
        return
    many = f"{len(names)} figures of {method} are" if len(names) > 1 else f"One figure of {method} is"
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    raise Refusal(
        f"{many} not confirmed yet: {', '.join(names[:3])}{more}. Hold each against the lab's copy of the standard.",
        code="not_confirmed",
    )
