"""How frozen facts are put into words and figures, and the rows that page, PDF and CSV print."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal


@dataclass(frozen=True)
class Figure:
    """One result as printed."""

    direction: str
    stage: int
    change: str
    limits: str
    verdict: str
    verdict_told: str
    u: str
    sd: str
    specimens: int
    pairs: int
    note: str
    is_final: bool
    per_specimen: list[tuple[str, str]]


@dataclass(frozen=True)
class Cell:
    """A reading as typed; `mm` beside it when another unit was typed."""

    text: str
    mm: str = ""


@dataclass(frozen=True)
class PairLine:
    name: str
    cells: list[Cell]
    changes: list[str]


@dataclass(frozen=True)
class SpecimenTable:
    """Readings of one specimen at some stages. Stage 0 is in every table."""

    short: str
    code: str
    set_aside: str
    stages: list[int]
    lines: list[PairLine]
    results: list[tuple[str, list[str]]] = field(default_factory=list)

    @property
    def after(self) -> list[int]:
        return self.stages[1:]


@dataclass(frozen=True)
class Superseded:
    where: str
    text: str
    mm: str
    who: str
    voided: str
    reason: str


@dataclass(frozen=True)
class CycleLine:
    cycle: int
    specimens: str
    load: str
    drying: str
    done: str


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def when(text: str | None) -> str:
    """ "12 Mar 2026, 09:40" of a frozen moment: the lab's wall time then."""
    return f"{day(text)}, {datetime.fromisoformat(text):%H:%M}" if text else ""


def day(text: str | None) -> str:
    if not text:
        return ""
    moment = datetime.fromisoformat(text)
    return f"{moment.day} {MONTHS[moment.month - 1]} {moment.year}"


def tidy(text: str | None, unit: str = "") -> str:
    """A frozen number without idle zeros: "380.0" mm is 380 mm. Nothing for nothing."""
    if text is None or text == "":
        return ""
    whole, _, decimals = text.partition(".")
    decimals = decimals.rstrip("0")
    number = f"{whole}.{decimals}" if decimals else whole
    return f"{number} {unit}".replace("-", "\N{MINUS SIGN}") if unit else number.replace("-", "\N{MINUS SIGN}")


def mm(text: str) -> str:
    """Millimetres as read, one decimal at least."""
    whole, _, decimals = text.partition(".")
    return f"{whole}.{decimals.rstrip('0') or '0'}"


def percent_read(text: str) -> str:
    """A reading of a shrinkage scale as typed, with a true minus sign."""
    return f"{text.strip().removesuffix('%').strip()} %".replace("-", "\N{MINUS SIGN}")


def one_decimal(text: str) -> Decimal:
    """A limit without idle zeros but with one decimal: "-3.00" is -3.0, "2.75" stays."""
    return Decimal(mm(text))


def significant(text: str | None) -> str:
    """An uncertainty or a standard deviation with two significant figures."""
    if text is None:
        return ""
    value = Decimal(text)
    if value == 0:
        return "0"
    return format(round(value, max(0, 1 - value.adjusted())), "f")


def stage_told(stage: int) -> str:
    return f"after cycle {stage}" if stage else "before washing"


def span(ends: Mapping[str, str | None]) -> str:
    """ "12 Mar 2026 to 16 Mar 2026" of the first and last day."""
    first, last = day(ends["first"]), day(ends["last"])
    return first if first == last else f"{first} to {last}"
