"""What the manager is shown beyond the facts: taps that were kept, machines as they stood, readings that came early."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime, timedelta

from django.db.models import Q
from django.utils import timezone

from apps.equipment.models import Calibration, Equipment, Hold, OutOfService
from apps.equipment.queries.states import State
from apps.intake.models import Request
from apps.laundering.queries import concerning, cycle_record, kept_of
from apps.laundering.queries.record import CycleRecord
from apps.measuring.models import Reading
from apps.methods.models import Figure
from apps.reporting.facts.unusual import Notice

HOURS = re.compile(r"(\d+) h")


def looked_into(requests: list[Request]) -> list[Notice]:
    """In as many queries for one request as for ten."""
    record = cycle_record(requests)
    cycles = [row for rows in record.values() for row in rows]
    return [*_kept(requests), *_machines(cycles), *_released(record.values()), *_early(requests, cycles)]


def _kept(requests: list[Request]) -> Iterator[Notice]:
    """What the laundry tapped without a connection and the book could not take: the record may lack it."""
    for row in kept_of(request.pk for request in requests):
        judged = f". Judged by {row.judged_by}: {row.judgement}" if row.judgement else ". Not judged yet."
        where = str(row.load).lower() if row.load_id else "laundry"
        yield Notice(where, "kept tap", f"{row.what}: {row.refusal} ({row.by}){judged}")


def _released(record: Iterable[list[CycleRecord]]) -> Iterator[Notice]:
    """The check fabric gave an alarm of a machine that they ran on, and the manager said why results may go out."""
    ran = [{row.load.pk: row.conditions for row in cycles} for cycles in record]
    washers = {run.washer_id for runs in ran for run in runs.values()}
    holds = Hold.objects.filter(released_at__isnull=False, equipment__in=washers)
    holds = list(holds.select_related("equipment", "released_by"))
    for one in [found for runs in ran for found in concerning(holds, runs)]:
        by = f"Released by {one.hold.released_by}: {one.hold.release_reason}"
        yield Notice(one.loads_told, "check fabric", f"{one.hold.equipment}: {one.hold.reason} {by}")


def _machines(cycles: Iterable[CycleRecord]) -> Iterator[Notice]:
    """Machines as they stood when they were used, by what is known of them today: a calibration may have been declared
    void since, or a time out of service written down later."""
    used: dict[tuple[int, datetime], tuple[Equipment, str]] = {}
    for row in cycles:
        washed = (row.conditions.washer, row.conditions.wash_started_at, f"load {row.load.pk}")
        dried = (row.drying.dryer, row.drying.started_at, f"drying {row.drying.pk}") if row.drying else (None, None, "")
        for machine, at, where in (washed, dried):
            if machine and at:
                used[machine.pk, at] = (machine, where)
    machines = {machine.pk: machine for machine, _ in used.values()}
    calibrations, times_out = defaultdict(list), defaultdict(list)
    rows = Calibration.objects.filter(equipment__in=machines, voided_at=None)
    for calibration in rows.order_by("-done_on", "-id"):
        calibrations[calibration.equipment_id].append(calibration)
    for period in OutOfService.objects.filter(Q(equipment__in=machines)).order_by("-since"):
        times_out[period.equipment_id].append(period)
    for (key, at), (machine, where) in used.items():
        on = timezone.localdate(at)
        held = next((row for row in calibrations[key] if row.done_on <= on), None)
        out = next((p for p in times_out[key] if p.since <= at and (p.until is None or p.until > at)), None)
        yield from _standing(State(machine, on, held, out), where)


def _standing(state: State, where: str) -> Iterator[Notice]:
    if state.out:
        yield Notice(where, "equipment", f"{state.equipment} was out of service: {state.out.reason}")
    if state.unfit:
        found = state.calibration.as_left or state.calibration.as_found
        yield Notice(where, "equipment", f"{state.equipment} was found not fit for use before: {found}")
    elif state.overdue:
        yield Notice(where, "equipment", state.overdue_sentence)


def _early(requests: list[Request], cycles: Iterable[CycleRecord]) -> Iterator[Notice]:
    """Readings that came sooner after the drying than the shortest conditioning time that the edition knows."""
    shortest = _shortest_conditioning(requests)
    dried = {(row.specimen.pk, row.ordinal): _dry_since(row) for row in cycles}
    short = {row.specimen.pk: (row.specimen.short_code, row.specimen.request_id) for row in cycles}
    methods = {request.pk: request.method for request in requests}
    first: dict[tuple[int, int], datetime] = {}
    rows = Reading.objects.in_force().filter(pair__specimen__request__in=requests, stage__gt=0)
    for specimen, stage, at in rows.values_list("pair__specimen", "stage", "at").order_by("-at"):
        first[specimen, stage] = at
    for (specimen, stage), at in sorted(first.items()):
        since = dried.get((specimen, stage))
        if since is None:
            continue
        code, request = short[specimen]
        hours = shortest.get(methods[request].owner)
        if hours is not None and at - since < timedelta(hours=hours):
            took = f"{max(at - since, timedelta(0)) // timedelta(minutes=1)} min"
            text = f"after cycle {stage} read {took} after its drying; the shortest conditioning time of "
            yield Notice(code, "early measuring", f"{text}{methods[request]} is {hours} h")


def _dry_since(row: CycleRecord) -> datetime:
    return row.drying.ended_at if row.drying and row.drying.ended_at else row.done_at


def _shortest_conditioning(requests: list[Request]) -> dict[str, int]:
    """By the method: the least hours among what its edition says of conditioning; nothing where it says none."""
    owners = {request.method.owner for request in requests}
    found: dict[str, list[int]] = defaultdict(list)
    rows = Figure.objects.filter(owner__in=owners, name__startswith="conditioning time")
    for owner, value in rows.values_list("owner", "value"):
        found[owner] += map(int, HOURS.findall(value))
    return {owner: min(hours) for owner, hours in found.items() if hours}
