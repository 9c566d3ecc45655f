"""Which results wait because a machine's check fabric says that something changed, and which waited."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from apps.equipment.models import Hold
from apps.intake.models import Request
from apps.laundering.models import CycleLog, Load, WashConditions
from apps.laundering.queries.record import conditions_of


@dataclass(frozen=True)
class Held:
    """A hold, and the loads that ran on its machine since that was last seen to be in order."""

    hold: Hold
    loads: tuple[int, ...]

    @property
    def loads_told(self) -> str:
        return f"load{'' if len(self.loads) == 1 else 's'} {', '.join(map(str, self.loads))}"


def held(requests: Iterable[Request]) -> dict[int, list[Held]]:
    """Of each request the holds that stand in its way: one query while no machine is held, else three.

    What the newest correction says of a load counts.
    """
    if not (holds := list(Hold.objects.filter(released_at=None).select_related("equipment"))):
        return {}
    cycles = CycleLog.objects.filter(specimen__request__in=list(requests), voided_at=None)
    loads: dict[int, dict[int, Load]] = defaultdict(dict)
    for row in cycles.select_related("piece__load", "specimen"):
        loads[row.specimen.request_id][row.piece.load_id] = row.piece.load
    ran = conditions_of({key: load for of in loads.values() for key, load in of.items()}.values())
    return {request: concerning(holds, {key: ran[key] for key in of}) for request, of in loads.items()}


def concerning(holds: Iterable[Hold], ran: Mapping[int, WashConditions]) -> list[Held]:
    """Those of the holds that speak of some of these loads, by number with what is now held to be true of each: washed
    in its machine after the last good point, and before the release."""
    found = [(hold, tuple(sorted(key for key, run in ran.items() if _speaks_of(hold, run)))) for hold in holds]
    return [Held(hold, loads) for hold, loads in found if loads]


def _speaks_of(hold: Hold, run: WashConditions) -> bool:
    started = run.wash_started_at
    if run.washer_id != hold.equipment_id or started is None or (hold.released_at and started > hold.released_at):
        return False
    return hold.since is None or started > hold.since
