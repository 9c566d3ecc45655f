"""The companies the lab works for."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from apps.accounts.models import Customer, User
from apps.accounts.queries import find_customer
from apps.accounts.services.people import lock_names
from apps.accounts.services.seen import check_seen, facts_of
from apps.core.errors import Refusal
from apps.core.texts import line, lines
from apps.trail import services as trail


@transaction.atomic
def create_customer(
    *, name: str, address: str, contact: str, email: str, by: User, at: datetime, key: UUID | None = None
) -> Customer:
    """A company that sends cloth comes into the book. One name is one customer, however its capitals are typed."""
    payload = _written(name, address, contact, email)
    lock_names()
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Customer.objects.get(pk=done.facts["customer_id"])
    _check_customer_name(payload["name"], None)
    customer = Customer.objects.create(**payload)
    facts = {"customer_id": customer.pk, **payload}
    stream = f"customer:{customer.pk}"
    trail.record(stream=stream, kind="customer.created", by=by, at=at, facts=facts, key=key, payload=payload)
    return customer


@transaction.atomic
def change_customer(
    *,
    customer_id: int,
    name: str,
    address: str,
    contact: str,
    email: str,
    by: User,
    at: datetime,
    shown: str | None = None,
) -> Customer:
    """A customer's name or address changes. Reports that are issued keep what they say.

    `shown`: the mark of what the page showed (`seen`).
    """
    lock_names()
    customer = Customer.objects.select_for_update().get(pk=customer_id)
    before, after = facts_of(customer), _written(name, address, contact, email)
    _check_customer_name(after["name"], customer)
    check_seen(shown, before["name"], before, after)
    changed = {field: {"from": before[field], "to": value} for field, value in after.items() if before[field] != value}
    if changed:
        for field, value in after.items():
            setattr(customer, field, value)
        customer.save()
        trail.record(stream=f"customer:{customer.pk}", kind="customer.changed", by=by, at=at, facts=changed)
    return customer


def _written(name: str, address: str, contact: str, email: str) -> dict[str, str]:
    return {
        "name": line(name, most=150, field="name", what="The name"),
        "address": lines(address, most=500, field="address", what="The address"),
        "contact": line(contact, most=150, field="contact", what="The contact person"),
        "email": email,
    }


def _check_customer_name(name: str, customer: Customer | None) -> None:
    if not name:
        raise Refusal("A customer needs a name.", code="customer_name", field="name")
    known = find_customer(name)
    if known is not None and known != customer:
        raise Refusal(f"{known.name} is in the book already.", code="customer_exists", field="name")
