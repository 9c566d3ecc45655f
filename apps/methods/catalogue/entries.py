"""What the tables are made of."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

H, M, L, U = "H", "M", "L", "U"
MEMORY = "from memory of the standard, not seen"
NOT_KNOWN = "not known; the lab sets it from its own copy of the standard"
MOST_HALF = "at most half of its mass"


@dataclass(frozen=True)
class Fact:
    """One number, as people read it. `field`: the column of the row that holds the same number for the rules."""

    name: str
    value: str
    source: str
    confidence: str
    field: str = ""


@dataclass(frozen=True)
class Entry:
    """One row of a table with the facts that stand behind it. `linked`: codes of the methods it goes with."""

    code: str
    columns: Mapping[str, Any]
    facts: tuple[Fact, ...]
    linked: tuple[str, ...] = ()


def unknown(name: str, source: str = NOT_KNOWN, field: str = "") -> Fact:
    return Fact(name, "", source, U, field)


def entry(code: str, columns: Mapping[str, Any], *groups: Iterable[Fact], linked: tuple[str, ...] = ()) -> Entry:
    return Entry(code, columns, tuple(fact for group in groups for fact in group), linked)
