"""What the house does with people, customers, its own settings and its letters."""

import re
from dataclasses import asdict, dataclass, fields
from datetime import datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Q

from apps.accounts.models import STAFF_ROLES, Customer, Lab, Outgoing, Role, User
from apps.accounts.queries import find_customer
from apps.core.errors import Refusal, StalePage
from apps.core.jsontext import canonical, sha256
from apps.trail import services as trail

USERNAME = re.compile(r"[\w.@+-]{1,60}")


# Signing in


@transaction.atomic
def record_sign_in(*, by: User, at: datetime) -> None:
    """Somebody came in."""
    trail.record(stream=f"user:{by.pk}", kind="sign_in.done", by=by, at=at, facts={})


@transaction.atomic
def record_failed_sign_in(*, username: str, at: datetime) -> None:
    """Somebody tried and did not come in. A name that nobody has is not kept: it may be a password typed too early."""
    known = User.objects.filter(username=username).exists()
    facts = {"username": username if known else "", "known": known}
    trail.record(stream="sign-in", kind="sign_in.failed", by=None, at=at, facts=facts)


# Pages that were open while somebody else saved


def seen(row: User | Customer | Lab) -> str:
    """A mark of a row as a page shows it. The page sends it back, so that a stale one overwrites nothing unseen."""
    return sha256(canonical(_facts_of(row)))


def _facts_of(row: User | Customer | Lab) -> dict[str, Any]:
    if isinstance(row, User):
        return _person_facts(row)
    return {name: _fact(getattr(row, name)) for name in (LAB_FIELDS if isinstance(row, Lab) else CUSTOMER_FIELDS)}


def _check_seen(shown: str | None, what: str, now: dict[str, Any], wanted: dict[str, Any]) -> None:
    """Refuse to save over what the page did not show; told is what the row says now where it differs."""
    if shown is None or shown == sha256(canonical(now)):
        return
    differing = [f"{name.replace('_', ' ')}: {_said(now[name])}" for name in now if now[name] != wanted[name]]
    told = f" It now says: {'; '.join(differing)}." if differing else ""
    raise StalePage(f"{what} was changed after this page was opened.{told} Look it over, then save again.")


def _said(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(value) if isinstance(value, list) else str(value or "empty")


# People


def _lock_names() -> None:
    """Whoever adds a name holds this row, so that two spellings of one name do not come in side by side."""
    Lab.objects.select_for_update().get(pk=1)


def _hashed(password: str, user: User) -> str:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Refusal(" ".join(error.messages), code="weak_password", field="password") from error
    return make_password(password)


def _check_person(full_name: str, roles: frozenset[Role], customer: Customer | None) -> None:
    if not full_name.strip():
        raise Refusal("A person needs a name.", code="person_name", field="full_name")
    if customer is None and not roles & set(STAFF_ROLES):
        raise Refusal("Give at least one role in the lab, or the company this person is of.", code="no_role")
    if customer is not None and roles - {Role.CUSTOMER}:
        raise Refusal(
            "A customer's person has no role in the lab. Take the roles away, or leave the company empty.",
            code="customer_with_role",
            field="customer",
        )


def _place(user: User, roles: frozenset[Role], customer: Customer | None) -> None:
    user.customer = customer
    for role in STAFF_ROLES:
        setattr(user, role.value, role in roles)


def _person_facts(user: User) -> dict[str, Any]:
    return {
        "username": user.username,
        "full_name": user.full_name,
        "email": user.email,
        "roles": sorted(role.value for role in user.roles),
        "customer": user.customer.name if user.customer else None,
        "may_sign_in": user.is_active,
    }


def create_person(
    *,
    username: str,
    full_name: str,
    email: str,
    roles: frozenset[Role],
    customer: Customer | None,
    password: str,
    by: User | None,
    at: datetime,
    key: UUID | None = None,
) -> User:
    """Somebody joins: of the lab with roles, or of one customer. The first manager is added by the house itself."""
    payload = {"username": username, "full_name": full_name, "email": email, "roles": sorted(roles)}
    payload["customer"] = str(customer.pk) if customer else ""
    _check_person(full_name, roles, customer)
    if not USERNAME.fullmatch(username):
        raise Refusal(
            "A user name is letters, digits and . @ + - _ without spaces, 60 at most.",
            code="username",
            field="username",
        )
    user = User(username=username, full_name=full_name, email=email)
    _place(user, roles, customer)
    # Hashing takes a third of a second: done before anything is locked.
    user.password = _hashed(password, user)
    with transaction.atomic():
        _lock_names()
        if done := trail.repeated(key=key, payload=payload, by=by):
            return User.objects.get(username=done.facts["username"])
        if User.objects.filter(username__iexact=username).exists():
            raise Refusal("This user name is taken.", code="username_taken", field="username")
        user.save(force_insert=True)
        facts = _person_facts(user)
        trail.record(
            stream=f"user:{user.pk}", kind="person.created", by=by, at=at, facts=facts, key=key, payload=payload
        )
    return user


@transaction.atomic
def change_person(
    *,
    person_id: int,
    full_name: str,
    email: str,
    roles: frozenset[Role],
    customer: Customer | None,
    is_active: bool,
    by: User,
    at: datetime,
    shown: str | None = None,
) -> User:
    """Name, roles or company of somebody change, or they may no longer sign in. A manager always remains.

    `shown`: the mark of what the page showed (`seen`).
    """
    _check_person(full_name, roles, customer)
    managers = Q(manager=True, is_active=True)
    locked = User.objects.select_for_update().filter(Q(pk=person_id) | managers).order_by("pk")
    people = {user.pk: user for user in locked}
    user = people[person_id]
    before = _person_facts(user)
    user.full_name, user.email, user.is_active = full_name, email, is_active
    _place(user, roles, customer)
    if not any(person.is_active and person.manager for person in people.values()):
        raise Refusal(
            "This is the last lab manager who may sign in. Make somebody else a manager first.", code="last_manager"
        )
    after = _person_facts(user)
    _check_seen(shown, before["full_name"], before, after)
    if after != before:
        user.save()
        changed = {name: {"from": before[name], "to": after[name]} for name in after if after[name] != before[name]}
        trail.record(stream=f"user:{user.pk}", kind="person.changed", by=by, at=at, facts=changed)
    return user


def set_password(*, person_id: int, password: str, by: User, at: datetime) -> User:
    """Somebody gets a new password: a person changes the own one, a manager gives one to who forgot it."""
    user = User.objects.get(pk=person_id)
    hashed = _hashed(password, user)
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=person_id)
        user.password = hashed
        user.save(update_fields=["password"])
        trail.record(stream=f"user:{user.pk}", kind="password.set", by=by, at=at, facts={"own": by.pk == user.pk})
    return user


# Customers

CUSTOMER_FIELDS = ("name", "address", "contact", "email")


@transaction.atomic
def create_customer(
    *, name: str, address: str, contact: str, email: str, by: User, at: datetime, key: UUID | None = None
) -> Customer:
    """A company that sends cloth comes into the book. One name is one customer, however its capitals are typed."""
    payload = {"name": name, "address": address, "contact": contact, "email": email}
    _lock_names()
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Customer.objects.get(pk=done.facts["customer_id"])
    _check_customer_name(name, None)
    customer = Customer.objects.create(name=name, address=address, contact=contact, email=email)
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
    _lock_names()
    customer = Customer.objects.select_for_update().get(pk=customer_id)
    _check_customer_name(name, customer)
    before, after = _facts_of(customer), {"name": name, "address": address, "contact": contact, "email": email}
    _check_seen(shown, before["name"], before, after)
    changed = {field: {"from": before[field], "to": value} for field, value in after.items() if before[field] != value}
    if changed:
        for field, value in after.items():
            setattr(customer, field, value)
        customer.save()
        trail.record(stream=f"customer:{customer.pk}", kind="customer.changed", by=by, at=at, facts=changed)
    return customer


def _check_customer_name(name: str, customer: Customer | None) -> None:
    if not name.strip():
        raise Refusal("A customer needs a name.", code="customer_name", field="name")
    known = find_customer(name)
    if known is not None and known != customer:
        raise Refusal(f"{known.name} is in the book already.", code="customer_exists", field="name")


# The lab's settings


@dataclass(frozen=True, kw_only=True)
class LabSettings:
    """The fields of the Lab row that a manager sets."""

    name: str
    address: str
    email: str
    phone: str
    location: str
    tie: str
    mix_rule: str
    reader_may_approve: bool
    late_entry_hours: int
    opens_at: time
    closes_at: time
    wash_minutes: int
    tumble_minutes: int
    air_dry_hours: int
    retention_years: int


LAB_FIELDS = [field.name for field in fields(LabSettings)]


@transaction.atomic
def change_lab_settings(*, settings: LabSettings, by: User, at: datetime, shown: str | None = None) -> Lab:
    """The lab's name, hours, habits or rules change, from now on: what is issued keeps the rules it was made by.

    `shown`: the mark of what the page showed (`seen`).
    """
    lab = Lab.objects.select_for_update().get(pk=1)
    wanted = {name: _fact(value) for name, value in asdict(settings).items()}
    _check_seen(shown, "The lab", _facts_of(lab), wanted)
    if settings.closes_at <= settings.opens_at:
        raise Refusal("The lab closes after it opens.", code="lab_hours", field="closes_at")
    changed = {
        name: {"from": _fact(getattr(lab, name)), "to": _fact(value)}
        for name, value in asdict(settings).items()
        if getattr(lab, name) != value
    }
    if changed:
        for name in changed:
            setattr(lab, name, getattr(settings, name))
        lab.save(update_fields=list(changed))
        trail.record(stream="lab", kind="lab.changed", by=by, at=at, facts=changed)
    return lab


def _fact(value: Any) -> Any:
    return value.isoformat("minutes") if isinstance(value, time) else value


# Letters

FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=2), timedelta(hours=6)


def send_later(*, to: str, subject: str, body: str, at: datetime) -> Outgoing:
    """Put a letter in the outbox, in the transaction of the act that causes it (whose trail entry tells of it)."""
    return Outgoing.objects.create(
        to=to, subject=" ".join(subject.split())[:200], body=body, created_at=at, next_try_at=at
    )


def send_due(*, now: datetime) -> int:
    """Send the letters that are due, and say how many went. A letter that fails stays and is tried again, later and
    later; one whose sender died midway is tried again too: better twice than never."""
    sent = 0
    while letter := _take_letter(now):
        try:
            EmailMessage(letter.subject, letter.body, to=[letter.to]).send()
        except Exception as error:  # whatever a mail server does, the other letters go on
            Outgoing.objects.filter(pk=letter.pk).update(last_error=f"{type(error).__name__}: {error}"[:500])
        else:
            _note_sent(letter, now)
            sent += 1
    return sent


@transaction.atomic
def _note_sent(letter: Outgoing, now: datetime) -> None:
    Outgoing.objects.filter(pk=letter.pk).update(sent_at=now, last_error="")
    facts = {"letter": letter.pk, "to": letter.to, "subject": letter.subject, "tries": letter.tries}
    trail.record(stream="mail", kind="letter.sent", by=None, at=now, facts=facts)


@transaction.atomic
def _take_letter(now: datetime) -> Outgoing | None:
    """The next letter due, put off first: nobody else takes it, and no lock is held while the mail server thinks."""
    skip = connection.features.has_select_for_update_skip_locked
    due = Outgoing.objects.select_for_update(skip_locked=skip).filter(sent_at__isnull=True, next_try_at__lte=now)
    letter = due.order_by("next_try_at", "pk").first()
    if letter is not None:
        letter.next_try_at = now + min(FIRST_WAIT * 2 ** min(letter.tries, 10), LONGEST_WAIT)
        letter.tries = min(letter.tries + 1, 30_000)
        letter.save(update_fields=["next_try_at", "tries"])
    return letter
