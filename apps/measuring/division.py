"""How finely a rule was read, from the figures as they were typed."""

from collections.abc import Iterable
from decimal import Decimal

from apps.calc.exact import own_context
from apps.calc.lengths import MILLIMETRES
from apps.measuring.models import Reading

# The coarsest rule that is read for a change: eighths of an inch. "10" alone says nothing of the rule's divisions.
COARSEST = MILLIMETRES["in"] / 8


@own_context
def division_of(readings: Iterable[Reading], smallest: Decimal) -> Decimal:
    """The division of the rule in mm: the finest figure typed in each unit, the coarsest of the units.

    Not below `smallest`, the method's own step: a figure between two lines is an estimate.
    """
    finest: dict[str, Decimal] = {}
    for reading in readings:
        if reading.in_percent:
            if reading.stage == 0:
                continue
            step = reading.pair.nominal_mm * _step(reading.text.strip(" %"), "mm") / 100
        else:
            step = _step(reading.text.strip().removesuffix('"'), reading.unit)
        finest[reading.unit] = min(step, finest.get(reading.unit, step))
    return max([smallest, *(min(step, COARSEST) for step in finest.values())])


def _step(text: str, unit: str) -> Decimal:
    """What the last figure of a reading stands for: 9 13/16 in is read to sixteenths, 24.35 cm to tenths of a mm."""
    if "/" in text:
        return MILLIMETRES[unit] / int(text.rsplit("/", 1)[1])
    return MILLIMETRES[unit].scaleb(-len(text.replace(",", ".").partition(".")[2]))
