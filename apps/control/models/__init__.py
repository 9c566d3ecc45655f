"""What the lab finds out about itself."""

from apps.control.models.checks import Baseline, Check, CheckFabric, CheckPair, CheckPoint, Direction
from apps.control.models.studies import Study, StudyPiece, StudyReader, StudyReading

__all__ = [
    "Baseline",
    "Check",
    "CheckFabric",
    "CheckPair",
    "CheckPoint",
    "Direction",
    "Study",
    "StudyPiece",
    "StudyReader",
    "StudyReading",
]
