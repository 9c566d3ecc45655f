"""The demo's check fabric: what an invented cloth did in the washer's loads so far."""

from datetime import datetime

from apps.accounts.models import User
from apps.control import services as control
from apps.laundering.models import Load

# Millimetres of 250 after a load, lengthwise and widthwise; made up.
AFTER = [("244.5", "248.5"), ("245", "248"), ("244", "248.5"), ("244.5", "249"), ("245", "248.5"), ("244.5", "248")]


def check_the_washer(*, manager: User, bench: User, at: datetime) -> None:
    """A fabric is kept, its check planned, and every washed load of the procedure has its points."""
    loads = list(Load.objects.filter(state=Load.State.WASHED).order_by("wash_started_at"))
    fabric = control.add_fabric(
        name="Plain weave, unbleached (invented)", lot="7", note="200 m on one roll", by=manager, at=at
    )
    check = control.plan_check(
        fabric_id=fabric.pk,
        washer_id=loads[0].washer_id,
        procedure_id=loads[0].procedure_id,
        every_loads=3,
        every_days=None,
        by=manager,
        at=at,
    )
    ours = [load for load in loads if (load.washer_id, load.procedure_id) == (check.washer_id, check.procedure_id)]
    for number, load in enumerate(ours):
        length, width = AFTER[number % len(AFTER)]
        read = {
            "length": control.Typed("250 250 250", f"{length} {length} 244.5"),
            "width": control.Typed("250 250 250", f"{width} {width} 248.5"),
        }
        control.record_run(check_id=check.pk, load_id=load.pk, unit="mm", typed=read, by=bench, at=at)
