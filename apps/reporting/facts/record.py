"""How the specimens were washed and dried, and who did what, as facts."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.utils import timezone

from apps.accounts.models import User
from apps.laundering.models import DryingCorrection, LoadCorrection


class People:
    """Who had a hand in it and in what, in the order in which the work went."""

    def __init__(self) -> None:
        self._acts: dict[tuple[int, str], list[str]] = {}

    def add(self, person: User, act: str) -> None:
        self.add_named(person.pk, person.full_name, act)

    def add_named(self, key: int, name: str, act: str) -> None:
        acts = self._acts.setdefault((key, name), [])
        if act not in acts:
            acts.append(act)

    def told(self) -> list[dict[str, Any]]:
        return [{"name": name, "did": acts} for (_, name), acts in self._acts.items()]


def local(value: datetime | None) -> str | None:
    return None if value is None else timezone.localtime(value).isoformat(timespec="seconds")


def cycle_log(rows: Iterable[Any]) -> list[dict[str, Any]]:
    """Which cycle of which specimen was washed in which load and dried in which run."""
    return [
        {
            "specimen": row.specimen.code,
            "cycle": row.ordinal,
            "load": row.load.pk,
            "drying": row.drying.pk if row.drying else None,
            "done_at": local(row.done_at),
            "done_by": row.done_by.full_name,
        }
        for row in rows
    ]


def loads(rows: Iterable[Any], void: Iterable[Any] = ()) -> list[dict[str, Any]]:
    """Each wash run once, with the conditions that hold: the newest correction, or what was written at the time.

    `void`: specimens that a run wetted without a cycle; the run is told too, with whom and why.
    """
    void = list(void)
    by_number = {row.load.pk: row for row in (*rows, *void)}
    told = []
    for number, row in sorted(by_number.items()):
        run = row.conditions
        told.append(
            {
                "number": number,
                "procedure": str(row.load.procedure),
                "washer": _named(run.washer),
                "programme": run.programme,
                "water_level": run.water_level,
                "water_hardness": run.water_hardness,
                "balance": _named(run.balance),
                "specimen_mass_g": run.specimen_mass_g,
                "ballast_mass_g": run.ballast_mass_g,
                "total_mass_g": run.total_mass_g,
                "ballast": run.ballast,
                "ballast_pieces": run.ballast_pieces,
                "detergent": run.detergent,
                "detergent_lot": run.detergent_lot,
                "detergent_g": run.detergent_g,
                "water_temp_c": run.water_temp_c,
                "temp_source": run.get_temp_source_display(),
                "thermometer": _named(run.thermometer),
                "verification": _verification(run.verification),
                "rinse_temp_c": run.rinse_temp_c,
                "spun": run.spun,
                "washed_by": row.load.wash_by.full_name if row.load.wash_by else "",
                "started_at": local(run.wash_started_at),
                "ended_at": local(run.wash_ended_at),
                "void": _void(piece for piece in void if piece.load.pk == number),
                "corrected": _corrected(run) if isinstance(run, LoadCorrection) else None,
            }
        )
    return told


def _named(machine: Any) -> str:
    return machine.name if machine else ""


def _verification(relied: Any) -> dict[str, str] | None:
    """The verification of the machine that stood for a thermometer."""
    return relied and {"done_on": relied.done_on.isoformat(), "certificate": relied.certificate}


def _corrected(row: LoadCorrection | DryingCorrection) -> dict[str, Any]:
    return {"revision": row.revision, "reason": row.reason, "by": row.by.full_name, "at": local(row.at)}


def _void(pieces: Iterable[Any]) -> list[dict[str, Any]]:
    """Specimens that were wetted alike and judged alike, together."""
    told: dict[tuple, dict[str, Any]] = {}
    for piece in pieces:
        said = piece.judgement
        row = {"specimens": [], "reason": piece.reason, "judgement": said and _judged(said)}
        same = (piece.reason, said and (said.decision, said.text, said.by_id, said.at))
        told.setdefault(same, row)["specimens"].append(piece.specimen.code)
    return list(told.values())


def _judged(said: Any) -> dict[str, Any]:
    told = {"decision": said.decision, "decision_told": said.get_decision_display(), "text": said.text}
    return {**told, "by": said.by.full_name, "at": local(said.at)}


def dryings(rows: Iterable[Any]) -> list[dict[str, Any]]:
    """Each drying run once, with what is held of it now."""
    by_number = {row.drying.pk: row for row in rows if row.drying}
    return [
        {
            "number": number,
            "procedure": str(row.drying.procedure),
            "kind": row.drying.procedure.get_kind_display(),
            "dryer": _named(row.dried.dryer),
            "started_at": local(row.dried.started_at),
            "ended_at": local(row.dried.ended_at),
            "prepared": row.drying.prepared,
            "exhaust_c": row.dried.exhaust_c,
            "lint_filter_cleaned": row.dried.lint_filter_cleaned,
            "cooled_down": row.dried.cooled_down,
            "dryness": row.dried.get_dryness_display(),
            "longer_minutes": row.dried.longer_minutes,
            "remark": row.dried.remark,
            "by": row.drying.by.full_name,
            "corrected": _corrected(row.dried) if isinstance(row.dried, DryingCorrection) else None,
        }
        for number, row in sorted(by_number.items())
    ]


def span(rows: Iterable[Any]) -> list[datetime]:
    return [end for row in rows for end in (row.conditions.wash_started_at, row.done_at) if end]


def tell(rows: Iterable[Any], void: Iterable[Any], people: People) -> None:
    for row in void:
        people.add(row.load.wash_by, "washed")
    for row in rows:
        people.add(row.load.made_up_by, "made up wash loads")
        if row.load.wash_by:
            people.add(row.load.wash_by, "washed")
        if row.drying:
            people.add(row.drying.by, "dried")
        people.add(row.done_by, "finished wash cycles")
