"""Whether a reading is due, told as a sentence."""

from collections.abc import Iterable

from apps.intake.models import Request, Specimen
from apps.laundering.models import LoadPiece

Stage = Specimen.Stage


def not_due(specimen: Specimen, stage: int, request: Request, load: int | None = None) -> str:
    """Why this specimen is not to be read at this stage now, in a sentence; nothing when its reading is due."""
    name, where, cycles = specimen.short_code, specimen.stage, specimen.cycles_valid
    if stage and stage not in request.measured_cycles:
        return f"{request} is not measured after cycle {stage}."
    if where == Stage.SET_ASIDE:
        return f"{name} is set aside: {specimen.set_aside_reason}."
    if where == Stage.CUT:
        return f"{name} is not marked yet."
    if stage == 0:
        return (
            "" if where == Stage.MARKED else f"The original readings of {name} are complete; a wrong one is corrected."
        )
    if where == Stage.OWED and cycles == stage:
        return ""
    if where == Stage.IN_LOAD and stage > cycles:
        return f"{name} is in {f'load {load}' if load else 'a load'}."
    if where == Stage.MARKED:
        return f"The original readings of {name} come first."
    if stage > cycles:
        had = "1 cycle" if cycles == 1 else f"{cycles} cycles"
        return f"{name} has had {had}; its readings after cycle {stage} come later."
    if stage < cycles:
        return f"{name} has had {cycles} cycles; it can no longer be read as after cycle {stage}."
    return f"The readings of {name} after cycle {stage} are complete; a wrong one is corrected."


def loads_of(specimens: Iterable[Specimen]) -> dict[int, int]:
    """The number of the load that a specimen lies in now."""
    return dict(LoadPiece.objects.filter(specimen__in=specimens, open=True).values_list("specimen", "load"))


def due_stages(specimens: Iterable[Specimen]) -> dict[int, list[Specimen]]:
    """Stage -> the specimens whose readings are due there now, in the order of the stages."""
    found: dict[int, list[Specimen]] = {}
    for specimen in specimens:
        if specimen.stage == Stage.MARKED:
            found.setdefault(0, []).append(specimen)
        elif specimen.stage == Stage.OWED:
            found.setdefault(specimen.cycles_valid, []).append(specimen)
    return dict(sorted(found.items()))


def stage_words(stage: int) -> str:
    return f"after cycle {stage}" if stage else "before washing"
