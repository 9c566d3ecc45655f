"""The people and machines that tests know by name. All invented.

Fran receives, Bea marks and measures, Lou launders, Mara approves; Casey is a customer's person, Dana another's.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

from django.test import TestCase

from apps.accounts.models import Customer, User
from apps.core import clock
from apps.equipment.models import Equipment

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)  # a Monday
PASSWORD = "cloth-and-ink-26"


@dataclass
class Cast:
    fran: User
    bea: User
    lou: User
    mara: User
    casey: User
    dana: User
    quellbach: Customer
    zweitfaden: Customer
    washers: list[Equipment]
    dryers: list[Equipment]

    def by_role(self) -> dict[str, User | None]:
        """For walks over who may: nobody signed in, then everybody."""
        everybody = (self.fran, self.bea, self.lou, self.mara, self.casey, self.dana)
        return {"nobody": None, **{user.username: user for user in everybody}}


def a_person(username: str, full_name: str, **fields) -> User:
    email = f"{username}@example.com"
    return User.objects.create_user(username, PASSWORD, full_name=full_name, email=email, **fields)


def assemble() -> Cast:
    """Everybody, and two washers and two dryers."""
    quellbach = Customer.objects.create(name="Quellbach Hemden", contact="Casey Quellbach", email="casey@example.com")
    zweitfaden = Customer.objects.create(name="Zweitfaden Mode", contact="Dana Zweitfaden", email="dana@example.com")
    washer, dryer = Equipment.Kind.WASHER, Equipment.Kind.DRYER
    return Cast(
        fran=a_person("fran", "Fran Frontdesk", front_desk=True),
        bea=a_person("bea", "Bea Bench", bench=True),
        lou=a_person("lou", "Lou Laundry", laundry=True),
        mara=a_person("mara", "Mara Manager", manager=True),
        casey=a_person("casey", "Casey Quellbach", customer=quellbach),
        dana=a_person("dana", "Dana Zweitfaden", customer=zweitfaden),
        quellbach=quellbach,
        zweitfaden=zweitfaden,
        washers=[Equipment.objects.create(name=name, kind=washer) for name in ("W1", "W2")],
        dryers=[Equipment.objects.create(name=name, kind=dryer) for name in ("D1", "D2")],
    )


class LabTestCase(TestCase):
    """The cast as attributes, and the house's clock standing at NOON (`clock.set_to` moves it within a test)."""

    @classmethod
    def setUpClass(cls) -> None:
        cls.enterClassContext(clock.set_to(NOON))
        super().setUpClass()

    @classmethod
    def setUpTestData(cls) -> None:
        for name, value in vars(assemble()).items():
            setattr(cls, name, value)

    def sign_in(self, user: User | None) -> None:
        """Who asks from now on; None is nobody."""
        self.client.logout()
        if user is not None:
            self.client.force_login(user)


# Work in hand: each room adds here what the rooms after it need, made by its own services
# (`a_received_job()`, `a_marked_request()`, `a_washed_request()`, ...), never by raw rows.
