"""How long runs take here. What a wash or a drying is reckoned with is the lab's own setting, without a source."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from apps.accounts.models import Lab
from apps.laundering.models import Drying, Load
from apps.methods.models import DryingProcedure


@dataclass(frozen=True)
class Timer:
    """A run that goes on: since when, until about when, and what is to be done then."""

    since: datetime
    until: datetime
    over: bool
    todo: str


@dataclass(frozen=True)
class Pace:
    """The lab's settings, held against the house's clock: every page and every tablet reckons from the same two."""

    wash: timedelta
    machine: timedelta
    air: timedelta
    now: datetime

    @classmethod
    def of(cls, lab: Lab, now: datetime) -> "Pace":
        wash, machine = timedelta(minutes=lab.wash_minutes), timedelta(minutes=lab.tumble_minutes)
        return cls(wash, machine, timedelta(hours=lab.air_dry_hours), now)

    def of_wash(self, load: Load) -> Timer:
        return self._timer(load.wash_started_at, self.wash, "unload now")

    def of_drying(self, drying: Drying) -> Timer:
        if drying.procedure.kind == DryingProcedure.Kind.TUMBLE:
            return self._timer(drying.started_at, self.machine, "unload now")
        takes = self.machine if drying.procedure.needs_machine else self.air
        return self._timer(drying.started_at, takes, "look whether it is dry")

    def _timer(self, since: datetime, takes: timedelta, todo: str) -> Timer:
        return Timer(since, since + takes, self.now >= since + takes, todo)
