"""The page of a room's air: a day or a week, drawn, summed up and told in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.utils import timezone
from django.utils.formats import date_format

from apps.calc.conditioning import AirReading, Atmosphere
from apps.core.drawing import Drawing
from apps.equipment import air, charts
from apps.equipment.figures import plain
from apps.equipment.models import Equipment
from apps.equipment.queries import room_air as asked
from apps.equipment.queries.machines import AirNow, rooms_now

DAY, WEEK = "day", "week"
BESIDE = timedelta(days=1)  # what went on over midnight is told whole


@dataclass(frozen=True)
class Row:
    """One line of the table beside the chart."""

    label: str
    day: date | None  # where a click leads, in the table of a week
    span: air.Span

    @property
    def temperature(self) -> str:
        return _reach(self.span.temperature)

    @property
    def humidity(self) -> str:
        return _reach(self.span.humidity)


@dataclass(frozen=True)
class AirPage:
    room: Equipment
    view: str
    on: date
    since: datetime
    until: datetime
    rule: asked.Rule
    band: Atmosphere
    against: str  # the key of a catalogue's band, empty for the room's own
    offered: Sequence[asked.Offered]
    now: AirNow
    readings: int
    excursions: Sequence[air.Excursion]
    gaps: Sequence[air.Gap]
    rows: Sequence[Row]
    chart: Drawing | None

    @property
    def band_words(self) -> str:
        return air.words(self.band)

    @property
    def before(self) -> date:
        return self.on - timedelta(days=7 if self.view == WEEK else 1)

    @property
    def after(self) -> date:
        return self.on + timedelta(days=7 if self.view == WEEK else 1)


def air_page(room: Equipment, *, view: str, on: date, against: str, now: datetime) -> AirPage:
    """A day, or the seven days that end with it, held against the room's own tolerance or a method's."""
    first = on - timedelta(days=6) if view == WEEK else on
    since, until = _midnight(first), _midnight(on + timedelta(days=1))
    rule, offered = asked.rule_at(room, min(now, until)), asked.offered_bands()
    chosen = next((each for each in offered if each.key == against), None)
    band = chosen.band if chosen else rule.band
    around = asked.atmosphere(room, since - BESIDE, until + BESIDE)
    readings = [each for each in around if since <= each.at < until]
    gaps = _gaps(room, readings, since, until, now, rule.longest)
    excursions = air.excursions(around, band, rule.longest)
    excursions = [each for each in excursions if each.since < until and (each.back or each.last) >= since]
    edges, labels, marks = _divided(first, since, until, view)
    spans = air.spans(readings, edges, band)
    return AirPage(
        room=room,
        view=view,
        on=on,
        since=since,
        until=until,
        rule=rule,
        band=band,
        against=chosen.key if chosen else "",
        offered=offered,
        now=rooms_now(now, room)[0],
        readings=len(readings),
        excursions=excursions,
        gaps=gaps,
        rows=[
            Row(label, timezone.localdate(span.since) if view == WEEK else None, span)
            for label, span in zip(labels, spans, strict=True)
            if span.since < now or span.readings
        ],
        chart=charts.air_chart(
            readings,
            band,
            since=since,
            until=until,
            longest=rule.longest,
            gaps=gaps,
            marks=marks,
            title=f"The air of {room}, {_named(first, view)}",
            desc=_described(readings, excursions, gaps),
        )
        if readings
        else None,
    )


def _gaps(
    room: Equipment, readings: Sequence[AirReading], since: datetime, until: datetime, now: datetime, longest: timedelta
) -> list[air.Gap]:
    """Pauses that reach into this time, whole: from the reading before it, to the one after it or to now."""
    before, after = asked.moment_before(room, since), asked.moment_after(room, until)
    begins = before or (readings[0].at if readings else None)
    ends = after or min(until, now)
    found = air.gaps(readings, begins, ends, longest) if begins and begins < ends else []
    return [gap for gap in found if gap.since < until and gap.until > since]


def _midnight(day: date) -> datetime:
    """In UTC: two moments of one zone are subtracted by their clocks, not by the time between them."""
    return timezone.make_aware(datetime.combine(day, time.min)).astimezone(UTC)


def _divided(
    first: date, since: datetime, until: datetime, view: str
) -> tuple[list[datetime], list[str], list[charts.Mark]]:
    """Edges of the table's lines, their names, and the words under the chart."""
    if view == WEEK:
        days = [first + timedelta(days=n) for n in range(7)]
        edges = [*(_midnight(day) for day in days), until]
        marks = [charts.Mark(edge, "") for edge in edges[1:-1]]
        marks += [
            charts.Mark(edge + timedelta(hours=12), date_format(day, "D j"), line=False)
            for edge, day in zip(edges, days, strict=False)
        ]
        return edges, [date_format(day, "D j") for day in days], marks
    edges = [since]
    while edges[-1] < until:  # 23 or 25 hours when the clocks change
        edges.append(min(edges[-1] + timedelta(hours=1), until))
    local = [timezone.localtime(edge) for edge in edges[:-1]]
    labels = [date_format(edge, "H:i") for edge in local]
    marks = [charts.Mark(edge, label) for edge, label in zip(local, labels, strict=True) if edge.hour % 6 == 0]
    return edges, labels, [*marks, charts.Mark(until, "24:00")]


def _named(first: date, view: str) -> str:
    return f"seven days from {date_format(first, 'j M Y')}" if view == WEEK else date_format(first, "j M Y")


def _described(readings: Sequence[AirReading], excursions: Sequence[air.Excursion], gaps: Sequence[air.Gap]) -> str:
    if not readings:
        return ""
    warm, damp = [each.temperature for each in readings], [each.humidity for each in readings]
    return (
        f"{len(readings)} readings. Temperature from {plain(min(warm))} to {plain(max(warm))} °C,"
        f" humidity from {plain(min(damp))} to {plain(max(damp))} %."
        f" Times outside the tolerance: {len(excursions)}. Gaps: {len(gaps)}."
    )


def _reach(reach: tuple | None) -> str:
    if reach is None:
        return ""
    low, high = (plain(value) for value in reach)
    return low if low == high else f"{low}\N{EN DASH}{high}" if reach[0] >= 0 else f"{low} to {high}"
