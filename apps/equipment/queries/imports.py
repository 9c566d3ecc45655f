"""A logger's file looked at before it is taken in."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.utils import timezone

from apps.calc.conditioning import AirReading
from apps.core import clock
from apps.equipment.logger_files import How, Row, Sheet, read_file
from apps.equipment.models import AtmosphereImport, Equipment
from apps.equipment.queries.room_air import Rule, atmosphere, rule_at


@dataclass(frozen=True)
class DryRun:
    """What taking a file in would do. `known`: lines the book has already; `contrary`: lines it has otherwise."""

    sheet: Sheet
    new: Sequence[Row]
    known: Sequence[int]
    contrary: Sequence[int]
    rule: Rule

    @property
    def skipped(self) -> int:
        return len(self.known) + len(self.contrary) + len(self.sheet.repeated) + len(self.sheet.blank)

    @property
    def may_be_stored(self) -> bool:
        return bool(self.new) and not self.sheet.problems

    @property
    def shown(self) -> Sequence[Row]:
        """A few of them, for the eye: the first and the last."""
        return self.new if len(self.new) <= 8 else [*self.new[:4], *self.new[-4:]]

    @property
    def first_at(self) -> datetime:
        return self.new[0].air.at

    @property
    def last_at(self) -> datetime:
        return self.new[-1].air.at

    @property
    def temperature(self) -> tuple:
        values = [row.air.temperature for row in self.new]
        return min(values), max(values)

    @property
    def humidity(self) -> tuple:
        values = [row.air.humidity for row in self.new]
        return min(values), max(values)

    @property
    def outside(self) -> int:
        return sum(not self.rule.band.holds(row.air) for row in self.new)


def dry_run(room: Equipment, content: bytes, how: How, now: datetime) -> DryRun:
    """Read the file and hold it against the book; nothing is written."""
    sheet = read_file(content, how=how, zone=timezone.get_current_timezone(), latest=now + clock.SKEW)
    there: dict[datetime, AirReading] = {}
    if sheet.rows:
        there = {each.at: each for each in atmosphere(room, sheet.rows[0].air.at, sheet.rows[-1].air.at)}
    new, known, contrary = [], [], []
    for row in sheet.rows:
        stored = there.get(row.air.at)
        if stored is None:
            new.append(row)
        elif stored == row.air:
            known.append(row.line)
        else:
            contrary.append(row.line)
    return DryRun(sheet, new, known, contrary, rule_at(room, now))


def imports_of(room: Equipment) -> QuerySet[AtmosphereImport]:
    """The files taken in, newest first; never with their bytes."""
    rows = AtmosphereImport.objects.filter(room=room).select_related("by", "voided_by", "instrument")
    return rows.order_by("-at", "-pk")
