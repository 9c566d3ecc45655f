"""A logger's CSV file read into readings, or into sentences that say line by line what is wrong. Pure.

The file names its columns in one of its first lines: a time (or a date and a time), a temperature, a humidity.
Comma, semicolon or tab; point or comma; dates with the year first, or as told; °C or °F by the heading, or as told.
"""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from decimal import Decimal

from apps.calc.conditioning import AirReading
from apps.equipment import figures
from apps.equipment.air import REACH, UNITS
from apps.equipment.moments import Dates, NoMoment, date_order, read_moment

MOST_ROWS = 100_000
MOST_BYTES = 10 * 1024 * 1024
HEADINGS_WITHIN = 40  # lines
EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
DASHES = re.compile(r"[-–—]*")


@dataclass(frozen=True)
class How:
    """What the file itself does not say: the order of day and month, the logger's clock, the temperature's unit."""

    dates: Dates = Dates.SEEN
    utc: bool = False
    fahrenheit: bool | None = None  # None: as the heading says, and °C where it says nothing


@dataclass(frozen=True)
class Problem:
    """What is wrong: the line of the file, the heading of the column, what stands there, a sentence."""

    line: int
    column: str
    text: str
    sentence: str


@dataclass(frozen=True)
class Row:
    line: int
    air: AirReading


@dataclass
class Sheet:
    """What a file says. `repeated`: lines that say once more what an earlier one said; `blank`: without figures."""

    rows: list[Row] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    repeated: list[int] = field(default_factory=list)
    blank: list[int] = field(default_factory=list)
    columns: dict[str, str] = field(default_factory=dict)
    fahrenheit: bool = False
    clock: str = ""
    rounded: bool = False

    def wrong(self, line: int, column: str, text: str, sentence: str) -> None:
        shown = "".join(sign if sign.isprintable() else "�" for sign in text[:41])
        self.problems.append(Problem(line, column, shown if len(text) <= 40 else f"{shown[:40]}…", sentence))


@dataclass(frozen=True)
class Columns:
    """Where in a line things stand. `moment`: one place, or two for a date and a time of their own."""

    headings: Sequence[str]
    moment: tuple[int, ...]
    temperature: int
    humidity: int

    def name(self, *places: int) -> str:
        return " and ".join(self.headings[place] or f"column {place + 1}" for place in places)


def read_file(content: bytes, *, how: How, zone: tzinfo, latest: datetime) -> Sheet:
    """All that a file says; `zone` is the lab's own, `latest` the moment after which a reading lies in the future."""
    sheet = Sheet()
    text = _text_of(content, sheet)
    if text is None:
        return sheet
    lines, columns = _find_columns(text, sheet)
    if columns is None:
        return sheet
    sheet.columns = {
        "time": columns.name(*columns.moment),
        "temperature": columns.name(columns.temperature),
        "humidity": columns.name(columns.humidity),
    }
    heading = columns.headings[columns.temperature]
    sheet.fahrenheit = _says(heading, "f") if how.fahrenheit is None else how.fahrenheit
    body = list(_body(lines, columns, sheet))
    clock, sheet.clock = _clock(columns, how, zone)
    order = date_order((moment for _, moment, _, _ in body), how.dates)
    if order is None:
        line, moment, _, _ = body[0]
        sentence = "Is the day or the month first? Say how the dates are written."
        sheet.wrong(line, sheet.columns["time"], moment, sentence)
        return sheet
    _read_body(body, sheet, order, clock, latest)
    sheet.rows.sort(key=lambda row: row.air.at)
    return sheet


# The text and its columns


def _text_of(content: bytes, sheet: Sheet) -> str | None:
    if not content.strip():
        sheet.wrong(1, "", "", "The file is empty.")
    elif len(content) > MOST_BYTES:
        sheet.wrong(1, "", "", f"The file is larger than {MOST_BYTES // 1024**2} MB. Split it.")
    else:
        for encoding in ("utf-16",) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252"):
            try:
                text = content.decode(encoding)
            except UnicodeDecodeError:
                continue
            if "\0" not in text:
                return text
            break
        sheet.wrong(1, "", "", "This is no text. Export the readings as CSV.")
    return None


def _find_columns(text: str, sheet: Sheet) -> tuple[Iterator[tuple[int, list[str]]], Columns | None]:
    """The lines after the headings, and where things stand in them."""
    for delimiter in (";", "\t", ","):
        lines = _lines(text, delimiter, sheet)
        for line, cells in lines:
            if line > HEADINGS_WITHIN:
                break
            found = _places(cells)
            if all(found.values()):
                return lines, _columns(line, cells, found, sheet)
        if sheet.problems:
            return iter(()), None
    sheet.wrong(
        1,
        "",
        "",
        f"None of the first {HEADINGS_WITHIN} lines names a time, a temperature and a humidity. Write a line such as"
        " “time, temperature (°C), humidity (%)” above the figures.",
    )
    return iter(()), None


def _lines(text: str, delimiter: str, sheet: Sheet) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for cells in reader:
            yield reader.line_num, [cell.strip() for cell in cells]
    except csv.Error:
        sheet.wrong(reader.line_num, "", "", "From here on the file cannot be read as a table.")


def _places(cells: Sequence[str]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {"time": [], "temperature": [], "humidity": []}
    for place, cell in enumerate(cells):
        if what := _what(cell.casefold()):
            found[what].append(place)
    return found


def _what(heading: str) -> str:
    if len(heading) > 80 or re.search(r"dew|taupunkt|wet.?bulb", heading):
        return ""
    if re.search(r"humid|feucht|\br\.?[hf]\b|%\s*r\.?[hf]\b", heading):
        return "humidity"
    if "temp" in heading:
        return "temperature"
    return "time" if re.search(r"date|datum|time|zeit", heading) else ""


def _columns(line: int, cells: Sequence[str], found: Mapping[str, list[int]], sheet: Sheet) -> Columns | None:
    for what in ("temperature", "humidity"):
        if len(found[what]) > 1:
            names = " and ".join(f"“{cells[place][:40]}”" for place in found[what])
            sheet.wrong(line, "", "", f"More than one column looks like a {what}: {names}. Leave one of them.")
    moment = found["time"]
    if len(moment) > 2 or (len(moment) == 2 and not _date_then_time(cells, moment)):
        names = " and ".join(f"“{cells[place][:40]}”" for place in moment)
        sheet.wrong(line, "", "", f"More than one column looks like a time: {names}. Leave one, or a date and a time.")
    if sheet.problems:
        return None
    if len(moment) == 2 and re.search(r"time|zeit", cells[moment[0]].casefold()):
        moment = moment[::-1]
    return Columns(cells, tuple(moment), found["temperature"][0], found["humidity"][0])


def _date_then_time(cells: Sequence[str], places: Sequence[int]) -> bool:
    """Two columns that are a date alone and a time alone, in either order."""
    is_date = [bool(re.search(r"date|datum", cells[place].casefold())) for place in places]
    is_time = [bool(re.search(r"time|zeit", cells[place].casefold())) for place in places]
    return sorted(zip(is_date, is_time, strict=True)) == [(False, True), (True, False)]


def _says(heading: str, unit: str) -> bool:
    word = {"f": "fahrenheit", "c": "celsius"}[unit]
    return bool(re.search(rf"°\s*{unit}\b|\b{word}\b|[(\[_]\s*(?:deg\s*)?{unit}\s*[)\]]?$", heading.casefold()))


def _clock(columns: Columns, how: How, zone: tzinfo) -> tuple[tzinfo, str]:
    """The clock the file was written by: a heading that says GMT+01:00 is believed."""
    headings = columns.name(*columns.moment)
    if match := re.search(r"\b(?:GMT|UTC)\s*(?:([+-])(\d{1,2})(?::?(\d{2}))?)?", headings):
        sign, hours, minutes = match.groups()
        ahead = timedelta(hours=int(hours or 0), minutes=int(minutes or 0))
        if ahead < timedelta(hours=15):
            offset = timezone(-ahead if sign == "-" else ahead)
            return offset, f"{offset}, as the heading says"
    return (UTC, "UTC, as you said") if how.utc else (zone, f"the lab's own ({zone})")


# The readings

Line = tuple[int, str, str, str]  # its number, the moment, the temperature, the humidity


def _body(lines: Iterator[tuple[int, list[str]]], columns: Columns, sheet: Sheet) -> Iterator[Line]:
    last = max(*columns.moment, columns.temperature, columns.humidity)
    rows = 0
    for line, cells in lines:
        if not any(cells):
            continue
        rows += 1
        if rows > MOST_ROWS:
            sheet.wrong(line, "", "", f"More than {MOST_ROWS:,} readings in one file. Split it.")
            return
        cells += [""] * (last + 1 - len(cells))
        moment = " ".join(cells[place] for place in columns.moment).strip()
        yield line, moment, cells[columns.temperature], cells[columns.humidity]
    if not rows:
        sheet.wrong(1, "", "", "There are no readings below the headings.")


def _read_body(body: Sequence[Line], sheet: Sheet, order: Dates, clock: tzinfo, latest: datetime) -> None:
    seen: dict[datetime, Row] = {}
    for line, moment, temperature, humidity in body:
        at = _moment(line, moment, sheet, order, clock, latest)
        if DASHES.fullmatch(temperature) and DASHES.fullmatch(humidity):
            sheet.blank.append(line)
            continue
        warm = _figure(line, "temperature", temperature, sheet)
        damp = _figure(line, "humidity", humidity, sheet)
        if at is None or warm is None or damp is None:
            continue
        row = Row(line, AirReading(at, warm, damp))
        first = seen.setdefault(at, row)
        if first is row:
            sheet.rows.append(row)
        elif first.air == row.air:
            sheet.repeated.append(line)
        else:
            sentence = f"Line {first.line} says otherwise for the same moment."
            sheet.wrong(line, sheet.columns["time"], moment, sentence)


def _moment(line: int, text: str, sheet: Sheet, order: Dates, clock: tzinfo, latest: datetime) -> datetime | None:
    try:
        at = read_moment(text, order, clock)
        if at > latest:
            raise NoMoment("This lies in the future. Is the logger's clock right?")
        if at < EARLIEST:
            raise NoMoment("Is the year right? This is before 2000.")
    except NoMoment as problem:
        sheet.wrong(line, sheet.columns["time"], text, str(problem))
        return None
    return at


def _figure(line: int, what: str, text: str, sheet: Sheet) -> Decimal | None:
    read = figures.number(text)
    if read is None:
        sentence = f"The {what} is missing." if not text else "This is no figure."
        sheet.wrong(line, sheet.columns[what], text, sentence)
        return None
    fahrenheit = what == "temperature" and sheet.fahrenheit
    value = figures.kept(figures.celsius(read) if fahrenheit else read)
    sheet.rounded = sheet.rounded or (not fahrenheit and value != read)
    low, high = REACH[what]
    if not low <= value <= high:
        shown = f" ({figures.plain(value)} °C)" if fahrenheit else ""
        sentence = f"A {what} lies between {figures.plain(low)} and {figures.plain(high)} {UNITS[what]}{shown}."
        sheet.wrong(line, sheet.columns[what], text, sentence)
        return None
    return value
