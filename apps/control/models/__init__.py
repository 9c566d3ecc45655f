"""What the lab finds out about itself."""

from apps.control.models.checks import Baseline, Check, CheckFabric, CheckPair, CheckPoint, Direction

__all__ = ["Baseline", "Check", "CheckFabric", "CheckPair", "CheckPoint", "Direction"]
