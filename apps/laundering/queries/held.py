"""Which results wait because a machine's check fabric says that something changed, and which waited."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from apps.equipment.models import Hold
from apps.intake.models import Request
from apps.laundering.models import CycleLog
from apps.laundering.queries.record import conditions_of


@dataclass(frozen=True)
class Held:
    """A hold, and the loads of one request that ran on its machine since that was last seen to be in order."""

    hold: Hold
    loads: tuple[int, ...]

    @property
    def loads_told(self) -> str:
        return f"load{'' if len(self.loads) == 1 else 's'} {', '.join(map(str, self.loads))}"


def held(requests: Iterable[Request], holds: Iterable[Hold] | None = None) -> dict[int, list[Held]]:
    """Of each request the holds that stand in its way, or those of `holds` that concern it.

    One query while no machine is held, else three. What the newest correction says of a load counts.
    """
    if holds is None:
        holds = Hold.objects.filter(released_at=None).select_related("equipment", "by")
    if not (standing := list(holds)):
        return {}
    cycles = CycleLog.objects.filter(specimen__request__in=list(requests), voided_at=None)
    rows = list(cycles.select_related("piece__load", "specimen").order_by("piece__load_id"))
    ran = conditions_of({row.piece.load_id: row.piece.load for row in rows}.values())
    of_request: dict[int, dict[int, set[int]]] = defaultdict(lambda: defaultdict(set))
    for row in rows:
        run = ran[row.piece.load_id]
        for hold in standing:
            if run.washer_id == hold.equipment_id and concerns(hold, run.wash_started_at):
                of_request[row.specimen.request_id][hold.pk].add(row.piece.load_id)
    by_key = {hold.pk: hold for hold in standing}
    return {
        request: [Held(by_key[key], tuple(sorted(loads))) for key, loads in found.items()]
        for request, found in of_request.items()
    }


def concerns(hold: Hold, started: datetime | None) -> bool:
    """Whether a run that began then lies in the time the hold speaks of: after a good point, before the release."""
    if started is None or (hold.released_at and started > hold.released_at):
        return False
    return hold.since is None or started > hold.since
