"""Machines and instruments as the laundry offers them: free, busy, or not to be used, with the word why."""

from datetime import date

from django.db.models import OuterRef, QuerySet, Subquery

from apps.equipment.models import Equipment
from apps.equipment.queries import with_state
from apps.laundering.models import Drying, Load

Kind = Equipment.Kind


def washers(today: date) -> QuerySet[Equipment]:
    """All washers, each with the load that runs in it now."""
    running = Load.objects.filter(washer=OuterRef("pk"), state=Load.State.WASHING)
    return _of_kind(Kind.WASHER, today).annotate(busy_with=Subquery(running.values("pk")[:1]))


def dryers(today: date) -> QuerySet[Equipment]:
    """All dryers, each with the drying that runs in it now."""
    running = Drying.objects.filter(dryer=OuterRef("pk"), state=Drying.State.RUNNING)
    return _of_kind(Kind.DRYER, today).annotate(busy_with=Subquery(running.values("pk")[:1]))


def for_a_wash(today: date) -> dict[str, QuerySet[Equipment]]:
    """What a wash is run and measured with, by the names of the fields."""
    instruments = {"thermometer": _of_kind(Kind.THERMOMETER, today), "balance": _of_kind(Kind.BALANCE, today)}
    return {"washer": washers(today), **instruments}


def standing_of(machine: Equipment) -> str:
    """How it stands now, in words; nothing to say of one that is free and in order."""
    if busy := getattr(machine, "busy_with", None):
        return f"washing load {busy}" if machine.kind == Kind.WASHER else f"drying {busy} runs in it"
    if because := getattr(machine, "out_because", None):
        return f"out of service: {because}"
    if getattr(machine, "fit", None) is False:
        return "found not fit for use"
    if getattr(machine, "is_overdue", False):
        return "verification overdue" + (", not to be used" if is_barred(machine) else "")
    return ""


def is_barred(machine: Equipment) -> bool:
    """It cannot be chosen now. An overdue one can, where the lab discloses that."""
    if getattr(machine, "busy_with", None) or getattr(machine, "out_because", None):
        return True
    refused = machine.overdue_rule == Equipment.OverdueRule.REFUSE and getattr(machine, "is_overdue", False)
    return refused or getattr(machine, "fit", None) is False


def _of_kind(kind: str, today: date) -> QuerySet[Equipment]:
    return with_state(on=today).filter(kind=kind).order_by("name")
