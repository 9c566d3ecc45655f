"""People of the lab and of its customers."""

import re
from datetime import datetime
from uuid import UUID

from axes.utils import reset
from django.contrib.auth.hashers import make_password
from django.db import transaction
from django.db.models import Q

from apps.accounts.models import STAFF_ROLES, Customer, Lab, Role, User
from apps.accounts.services.invitations import invite
from apps.accounts.services.passwords import hashed
from apps.accounts.services.seen import check_seen, person_facts
from apps.accounts.services.tokens import end_tokens_of
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.trail import services as trail

USERNAME = re.compile(r"[\w.@+-]{1,60}")


def lock_names() -> None:
    """Whoever adds a name holds this row, so that two spellings of one name do not come in side by side."""
    Lab.objects.select_for_update().get(pk=1)


def _name_of(full_name: str, roles: frozenset[Role], customer: Customer | None) -> str:
    """The name as it is written down, of somebody who may be either of the lab or of a customer."""
    full_name = line(full_name, most=150, field="full_name", what="The name")
    if not full_name:
        raise Refusal("A person needs a name.", code="person_name", field="full_name")
    if customer is None and not roles & set(STAFF_ROLES):
        raise Refusal("Give at least one role in the lab, or the company this person is of.", code="no_role")
    if customer is not None and roles - {Role.CUSTOMER}:
        raise Refusal(
            "A customer's person has no role in the lab. Take the roles away, or leave the company empty.",
            code="customer_with_role",
            field="customer",
        )
    return full_name


def _place(user: User, roles: frozenset[Role], customer: Customer | None) -> None:
    user.customer = customer
    for role in STAFF_ROLES:
        setattr(user, role.value, role in roles)


def create_person(
    *,
    username: str,
    full_name: str,
    email: str,
    roles: frozenset[Role],
    customer: Customer | None,
    password: str | None,
    by: User | None,
    at: datetime,
    key: UUID | None = None,
) -> User:
    """Somebody joins: of the lab with roles, or of one customer. The first manager is added by the house itself.

    Without a password the person is invited by letter.
    """
    payload = {"username": username, "full_name": full_name, "email": email, "roles": sorted(roles)}
    payload["customer"] = str(customer.pk) if customer else ""
    full_name = _name_of(full_name, roles, customer)
    if not USERNAME.fullmatch(username):
        raise Refusal(
            "A user name is letters, digits and . @ + - _ without spaces, 60 at most.",
            code="username",
            field="username",
        )
    user = User(username=username, full_name=full_name, email=email)
    _place(user, roles, customer)
    # Hashing takes a third of a second: done before anything is locked.
    user.password = hashed(password, user) if password else make_password(None)
    with transaction.atomic():
        lock_names()
        if done := trail.repeated(key=key, payload=payload, by=by):
            return User.objects.get(username=done.facts["username"])
        if User.objects.filter(username__iexact=username).exists():
            raise Refusal("This user name is taken.", code="username_taken", field="username")
        user.save(force_insert=True)
        facts = person_facts(user)
        trail.record(
            stream=f"user:{user.pk}", kind="person.created", by=by, at=at, facts=facts, key=key, payload=payload
        )
        if not password:
            invite(person_id=user.pk, by=by, at=at)
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
    full_name = _name_of(full_name, roles, customer)
    managers = Q(manager=True, is_active=True)
    locked = User.objects.select_for_update().filter(Q(pk=person_id) | managers).order_by("pk")
    people = {user.pk: user for user in locked}
    user = people[person_id]
    before = person_facts(user)
    user.full_name, user.email, user.is_active = full_name, email, is_active
    _place(user, roles, customer)
    if not any(person.is_active and person.manager for person in people.values()):
        raise Refusal(
            "This is the last lab manager who may sign in. Make somebody else a manager first.", code="last_manager"
        )
    after = person_facts(user)
    check_seen(shown, before["full_name"], before, after)
    if after != before:
        user.save()
        changed = {name: {"from": before[name], "to": after[name]} for name in after if after[name] != before[name]}
        trail.record(stream=f"user:{user.pk}", kind="person.changed", by=by, at=at, facts=changed)
    return user


def set_password(*, person_id: int, password: str, end_tokens: bool = False, by: User, at: datetime) -> User:
    """Somebody gets a new password: a person changes the own one, a manager gives one to who forgot it.

    `end_tokens`: somebody else may know the old one, so the programs that come in as this person are shut out too.
    """
    user = User.objects.get(pk=person_id)
    chosen = hashed(password, user)
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=person_id)
        user.password = chosen
        user.save(update_fields=["password"])
        trail.record(stream=f"user:{user.pk}", kind="password.set", by=by, at=at, facts={"own": by.pk == user.pk})
        if end_tokens:
            end_tokens_of(person=user, by=by, at=at)
        reset(username=user.username)  # whoever was locked out may come in with the new one
    return user
