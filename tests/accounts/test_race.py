"""Several people at once: names come in once, a manager always remains, a letter goes once."""

from datetime import timedelta

import pytest
from django.core import mail

from apps.accounts import services
from apps.accounts.models import Customer, Role, User
from apps.core.errors import Refusal
from tests.cast import NOON
from tests.racing import at_once

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]


def codes(outcomes: list) -> list[str]:
    return sorted(one.code if isinstance(one, Refusal) else type(one).__name__ for one in outcomes)


def test_one_company_spelled_in_eight_ways_comes_in_once(people):
    def add(n: int):
        name = "".join(letter.upper() if n >> place & 1 else letter for place, letter in enumerate("drei"))
        return services.create_customer(name=name, address="", contact="", email="", by=people.fran, at=NOON)

    outcomes = at_once(*(lambda n=n: add(n) for n in range(8)))
    assert codes(outcomes) == ["Customer"] + ["customer_exists"] * 7
    assert Customer.objects.filter(name__iexact="drei").count() == 1


def test_two_managers_who_resign_together_leave_one(people):
    User.objects.filter(pk=people.bea.pk).update(manager=True)

    def resign(person: User):
        return services.change_person(
            person_id=person.pk,
            full_name=person.full_name,
            email=person.email,
            roles=frozenset({Role.BENCH}),
            customer=None,
            is_active=True,
            by=person,
            at=NOON,
        )

    outcomes = at_once(lambda: resign(people.mara), lambda: resign(people.bea))
    assert codes(outcomes) == ["User", "last_manager"]
    assert User.objects.filter(manager=True, is_active=True).count() == 1


def test_four_workers_send_each_letter_once(people):
    for number in range(12):
        services.send_later(to=f"box{number}@example.com", subject="Ready", body="It is ready.", at=NOON)
    assert sum(at_once(*[lambda: services.send_due(now=NOON)] * 4)) == 12
    assert len({one.to[0] for one in mail.outbox}) == len(mail.outbox) == 12


def test_questions_at_several_fronts_count_as_one(people):
    how = {"name": "verify:10.0.0.7", "most": 5, "within": timedelta(minutes=10), "at": NOON}
    outcomes = at_once(*(lambda: services.asked_too_often(**how) for _ in range(8)))
    assert all(type(one) is bool for one in outcomes)
    assert sum(not one for one in outcomes) <= 5
    assert services.asked_too_often(**how)
