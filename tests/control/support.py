"""Checks for tests. All invented but the handbook's figures."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from apps.control import services
from apps.control.models import Check, CheckPoint
from apps.control.services.points import Typed
from apps.laundering.models import Load
from apps.methods.models import LaunderingProcedure
from tests.cast import NOON

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
NOTHING = Typed("", "")
# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: flow rates of ten batches, mean 50.81, mean moving range
# 1.8778, limits 45.8159 and 55.8041.
FLOW = ["49.6", "47.6", "49.9", "51.3", "47.8", "51.2", "52.6", "52.4", "53.6", "52.1"]


def a_washed_load(cast, at: datetime, *, washer=None, procedure: str = "aatcc-1-iii") -> Load:
    """A closed run in the book; what lay in it says nothing here."""
    return Load.objects.create(
        procedure=LaunderingProcedure.objects.get(code=procedure),
        washer=washer or cast.washers[0],
        state=Load.State.WASHED,
        made_up_at=at,
        made_up_by=cast.lou,
        wash_by=cast.lou,
        specimen_mass_g=300,
        ballast_mass_g=1500,
        water_temp_c=41,
        detergent_g=66,
        wash_started_at=at,
        wash_ended_at=at + HOUR / 2,
    )


def a_check(cast, *, every_loads: int | None = 10, every_days: int | None = None, washer=None) -> Check:
    fabric = services.add_fabric(name="plain weave, unbleached", lot="A", by=cast.mara, at=NOON - 99 * DAY)
    return services.plan_check(
        fabric_id=fabric.pk,
        washer_id=(washer or cast.washers[0]).pk,
        procedure_id=LaunderingProcedure.objects.get(code="aatcc-1-iii").pk,
        every_loads=every_loads,
        every_days=every_days,
        by=cast.mara,
        at=NOON - 99 * DAY,
    )


def typed(change: str) -> Typed:
    """Two pairs of 100 mm that changed so, in percent."""
    after = f"{100 + float(change):.4f}"
    return Typed("100 100", f"{after} {after}")


def a_run(cast, check: Check, change: str, at: datetime, *, load: Load | None = None, **more) -> CheckPoint:
    """The fabric changed so in length in a load that began then, and was read two hours later."""
    load = load or a_washed_load(cast, at, washer=check.washer)
    given = {"unit": "mm", "typed": {"length": typed(change), "width": NOTHING}, "by": cast.bea, **more}
    return services.record_run(check_id=check.pk, load_id=load.pk, at=at + 2 * HOUR, **given)[0]


def runs(cast, check: Check, changes: Sequence[str]) -> list[CheckPoint]:
    """A run a day, the last the day before NOON."""
    first = NOON - len(changes) * DAY
    return [a_run(cast, check, change, first + number * DAY) for number, change in enumerate(changes)]


def with_limits(cast, check: Check, changes: Sequence[str] = FLOW):
    points = runs(cast, check, changes)
    return services.set_baseline(
        check_id=check.pk,
        direction="length",
        first_id=points[0].pk,
        last_id=points[-1].pk,
        note="the machine was new",
        by=cast.mara,
        at=NOON,
    )
