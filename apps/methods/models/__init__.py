"""Test methods and laundering procedures as data. An edition once used is never altered; a new edition is added."""

from apps.methods.models.figures import Confirmation, Figure, MeasuringPoint
from apps.methods.models.repeatability import RepeatabilityFigure
from apps.methods.models.rows import (
    ENDS,
    AppliesTo,
    Averaging,
    CatalogueRow,
    DryingProcedure,
    ExtraMeasurement,
    Family,
    LaunderingProcedure,
    TestMethod,
)

__all__ = [
    "ENDS",
    "AppliesTo",
    "Averaging",
    "CatalogueRow",
    "Confirmation",
    "DryingProcedure",
    "ExtraMeasurement",
    "Family",
    "Figure",
    "LaunderingProcedure",
    "MeasuringPoint",
    "RepeatabilityFigure",
    "TestMethod",
]
