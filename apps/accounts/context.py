"""What every page shows: the lab's name, and the rooms that this person works in."""

from typing import Any

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from apps.accounts.models import Role
from apps.accounts.queries import the_lab

# (who, label, address): the first that fits the page is marked as the place one is at.
ROOMS = [
    ({Role.FRONT_DESK, Role.MANAGER}, "Receiving", "intake:receiving"),
    ({Role.BENCH, Role.MANAGER}, "Bench", "measuring:bench"),
    ({Role.LAUNDRY, Role.MANAGER}, "Laundry", "laundering:queue"),
    ({Role.MANAGER}, "Approvals", "reporting:approvals"),
    ({Role.BENCH, Role.MANAGER}, "Methods", "methods:list"),
    ({Role.BENCH, Role.MANAGER}, "Sheets", "sheets:sheets"),
    ({Role.BENCH, Role.LAUNDRY, Role.MANAGER}, "Equipment", "equipment:list"),
    ({Role.FRONT_DESK}, "Work in hand", "control:work"),
    ({Role.BENCH, Role.MANAGER}, "Control", "control:overview"),
    ({Role.FRONT_DESK, Role.MANAGER}, "Customers", "accounts:customers"),
    ({Role.MANAGER}, "People", "accounts:people"),
    ({Role.MANAGER}, "Lab", "accounts:lab"),
    ({Role.CUSTOMER}, "My jobs", "portal:jobs"),
    ({Role.CUSTOMER}, "Reports", "portal:reports"),
]


def address(name: str) -> str:
    """The address of a named page; nothing while there is no such page."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


def rooms(request: HttpRequest, roles: frozenset[Role]) -> list[tuple[str, str, bool]]:
    """(label, address, whether the page shown is there) of each room of these roles."""
    found = [(label, href) for who, label, name in ROOMS if who & roles and (href := address(name))]
    here = max((href for _, href in found if request.path.startswith(href)), key=len, default="")
    return [(label, href, href == here) for label, href in found]


def house(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    roles = user.roles if user is not None and user.is_authenticated else frozenset()
    in_the_lab = bool(roles) and Role.CUSTOMER not in roles
    return {
        "lab": the_lab(),
        "rooms": rooms(request, roles),
        "home": address("front:home"),
        "scan": address("front:scan") if in_the_lab else "",
    }
