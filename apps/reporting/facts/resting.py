"""How the specimens rested before they were read, ready to print."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from apps.reporting.facts.told import stage_told, when


def rest_lines(rows: Iterable[Mapping[str, Any]], short_of: Callable[[str], str]) -> list[str]:
    """A line for each stage and way of resting; specimens that rested alike stand together."""
    alike: dict[tuple[int, str], list[str]] = {}
    for row in rows:
        alike.setdefault((row["stage"], _told(row)), []).append(short_of(row["specimen"]))
    return [f"{stage_told(stage).capitalize()}: {', '.join(names)} {told}" for (stage, told), names in alike.items()]


def _told(row: Mapping[str, Any]) -> str:
    where = f"in {row['room']}" if row["room"] else "in a room without a log of the air"
    asked = f"{row['hours']} h asked for ({row['why']})"
    ready = f"conditioned from {when(row['ready_at'])}, {row['basis_told']}"
    parts = [
        f"{where} from {when(row['since'])}, {asked}",
        ready if row["ready"] else f"read before the conditioning was over ({row['basis_told']})",
        "pre-conditioned from the dry side" if row["from_dry_side"] else "not pre-conditioned from the dry side",
        f"hand ironed: {row['hand_ironed']}" if row["hand_ironed"] else "",
        _spans("air out of its limits", row["excursions"]),
        _spans("log paused", row["gaps"]),
    ]
    return "; ".join(part for part in parts if part)


def _spans(name: str, spans: Iterable[Mapping[str, Any]]) -> str:
    told = ", ".join(f"{when(span['since'])} to {when(span['until'])}" for span in spans)
    return f"{name} {told}" if told else ""
