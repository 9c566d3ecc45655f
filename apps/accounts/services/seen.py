"""Pages that were open while somebody else saved: what a row says, and a mark of it."""

from dataclasses import dataclass, fields
from datetime import time
from typing import Any

from apps.accounts.models import Customer, Lab, User
from apps.core.errors import StalePage
from apps.core.jsontext import canonical, sha256

CUSTOMER_FIELDS = ("name", "address", "contact", "email")


@dataclass(frozen=True, kw_only=True)
class LabSettings:
    """The fields of the Lab row that a manager sets."""

    name: str
    address: str
    email: str
    phone: str
    location: str
    accreditation: str = ""
    tie: str
    mix_rule: str
    reader_may_approve: bool
    late_entry_hours: int
    opens_at: time
    closes_at: time
    wash_minutes: int
    tumble_minutes: int
    air_dry_hours: int
    water_hardness: str
    retention_years: int


LAB_FIELDS = [field.name for field in fields(LabSettings)]


def fact(value: Any) -> Any:
    return value.isoformat("minutes") if isinstance(value, time) else value


def person_facts(user: User) -> dict[str, Any]:
    return {
        "username": user.username,
        "full_name": user.full_name,
        "email": user.email,
        "roles": sorted(role.value for role in user.roles),
        "customer": user.customer.name if user.customer else None,
        "may_sign_in": user.is_active,
    }


def seen(row: User | Customer | Lab) -> str:
    """A mark of a row as a page shows it. The page sends it back, so that a stale one overwrites nothing unseen."""
    return sha256(canonical(facts_of(row)))


def facts_of(row: User | Customer | Lab) -> dict[str, Any]:
    if isinstance(row, User):
        return person_facts(row)
    return {name: fact(getattr(row, name)) for name in (LAB_FIELDS if isinstance(row, Lab) else CUSTOMER_FIELDS)}


def check_seen(shown: str | None, what: str, now: dict[str, Any], wanted: dict[str, Any]) -> None:
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
