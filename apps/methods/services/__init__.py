"""What the lab says about the catalogue: it confirms figures, makes rows of its own, and chooses what is offered."""

from apps.methods.services.adopting import Repeatability, adopt_repeatability
from apps.methods.services.confirming import confirm_figure
from apps.methods.services.copying import (
    DryingNumbers,
    MethodNumbers,
    WashNumbers,
    copy_drying,
    copy_method,
    copy_procedure,
)
from apps.methods.services.offering import retire, set_scope, take_back

__all__ = [
    "DryingNumbers",
    "MethodNumbers",
    "Repeatability",
    "WashNumbers",
    "adopt_repeatability",
    "confirm_figure",
    "copy_drying",
    "copy_method",
    "copy_procedure",
    "retire",
    "set_scope",
    "take_back",
]
