"""What happens to checks of the lab itself."""

from apps.control.services.checks import add_fabric, end_check, plan_check, set_baseline
from apps.control.services.points import Typed, record_run, void_point

__all__ = ["Typed", "add_fabric", "end_check", "plan_check", "record_run", "set_baseline", "void_point"]
