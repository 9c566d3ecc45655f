"""What the bench needs to know to cut and mark, and what was ever read of a pair."""

from collections.abc import Sequence
from dataclasses import dataclass

from apps.intake.models import Request, Specimen
from apps.intake.queries import SamplePlan
from apps.measuring.models import Reading
from apps.methods.models import MeasuringPoint
from apps.methods.queries import Standing, points_for, standing

# Figures of the catalogue that are looked for at the cutting table.
AT_THE_TABLE = (
    "not cut from the outer",
    "marks from the specimen's edge",
    "room between parallel pairs",
    "where the marks lie",
)


# And before anything is read.
BEFORE_READING = "condition"


@dataclass(frozen=True)
class Cutting:
    """The codes that go on the cloth (as many as the method asks for), what is cut, and the method's figures."""

    codes: list[str]
    to_mark: list[Specimen]
    marked: list[Specimen]
    figures: Sequence[Standing]


def cutting(order: Request, plan: SamplePlan) -> Cutting:
    specimens = list(Specimen.objects.filter(request=order).order_by("number"))
    numbers = plan.way(order.pk).numbers
    figures = standing(order.method, AT_THE_TABLE)
    return Cutting(
        codes=[f"{order.sample.letter}{number}" for number in numbers],
        to_mark=[specimen for specimen in specimens if specimen.stage == Specimen.Stage.CUT],
        marked=[specimen for specimen in specimens if specimen.stage != Specimen.Stage.CUT],
        figures=[figure for figure in figures if figure.is_known],
    )


@dataclass(frozen=True)
class Garment:
    """A kind of garment with its measuring points, and the other kinds there are."""

    kind: str
    points: Sequence[MeasuringPoint]
    kinds: Sequence[tuple[str, str]]


def garment(order: Request, kind: str) -> Garment | None:
    """Where a garment of this kind is measured; of the first kind where it is not known. None for cloth."""
    if order.method.applies_to != "garment":
        return None
    kinds = MeasuringPoint.Garment.choices
    kind = kind if kind in MeasuringPoint.Garment.values else kinds[0][0]
    return Garment(kind, list(points_for(kind)), kinds)


def conditioning(order: Request) -> list[Standing]:
    """What the method says of the atmosphere and the time in it, before its specimens are read."""
    figures = standing(order.method, begins=BEFORE_READING)
    return [figure for figure in figures if figure.is_known]


def all_values(reading: Reading) -> list[Reading]:
    """All that was ever read for this pair at this stage, oldest first."""
    same = Reading.objects.filter(pair=reading.pair_id, stage=reading.stage)
    return list(same.select_related("read_by", "voided_by").order_by("id"))
