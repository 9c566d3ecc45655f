"""What happens to machines, instruments and the air of the conditioning rooms."""

from apps.equipment.logger_files import How
from apps.equipment.services.atmosphere import Limits, log_atmosphere, set_tolerance, void_reading
from apps.equipment.services.calibrations import Finding, record_calibration, void_calibration
from apps.equipment.services.holding import hold_results, release_hold
from apps.equipment.services.imports import import_atmosphere, void_import
from apps.equipment.services.machines import Details, add_equipment, change_equipment
from apps.equipment.services.use import check_usable, lock_equipment, put_out_of_service, return_to_service

__all__ = [
    "Details",
    "Finding",
    "How",
    "Limits",
    "add_equipment",
    "change_equipment",
    "check_usable",
    "hold_results",
    "import_atmosphere",
    "lock_equipment",
    "log_atmosphere",
    "put_out_of_service",
    "record_calibration",
    "release_hold",
    "return_to_service",
    "set_tolerance",
    "void_calibration",
    "void_import",
    "void_reading",
]
