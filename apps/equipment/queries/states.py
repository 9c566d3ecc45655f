"""Whether a piece of equipment may be used, asked of any moment: of the run, not of today."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q
from django.utils import timezone
from django.utils.formats import date_format

from apps.equipment.models import Calibration, Equipment, OutOfService


@dataclass(frozen=True)
class State:
    """How it stood with a piece of equipment at a moment."""

    equipment: Equipment
    on: date
    calibration: Calibration | None
    out: OutOfService | None

    @property
    def never(self) -> bool:
        """It is to be calibrated or verified, and until then it was not."""
        return self.calibration is None and self.equipment.interval_months is not None

    @property
    def unfit(self) -> bool:
        return self.calibration is not None and not self.calibration.usable

    @property
    def overdue(self) -> bool:
        due = self.calibration and self.calibration.due_on
        return self.never or (due is not None and due < self.on)

    @property
    def refused(self) -> bool:
        by_rule = self.overdue and self.equipment.overdue_rule == Equipment.OverdueRule.REFUSE
        return self.out is not None or self.unfit or by_rule

    @property
    def overdue_sentence(self) -> str:
        """What is disclosed; empty when nothing is overdue."""
        if self.never:
            return f"No calibration or verification of {self.equipment} is recorded."
        if self.overdue:
            due = date_format(self.calibration.due_on, "j M Y")
            return f"The calibration or verification of {self.equipment} was due on {due}."
        return ""


def state_at(equipment: Equipment, at: datetime) -> State:
    """The calibration that held on that day and the time out of service that covered that moment.

    A calibration holds from the day it was done, the newest of a day before the older ones; void ones never.
    """
    on = timezone.localdate(at)
    calibrations = Calibration.objects.filter(equipment=equipment, voided_at=None, done_on__lte=on)
    out = OutOfService.objects.filter(Q(until=None) | Q(until__gt=at), equipment=equipment, since__lte=at)
    return State(equipment, on, calibrations.order_by("-done_on", "-id").first(), out.order_by("-since").first())
