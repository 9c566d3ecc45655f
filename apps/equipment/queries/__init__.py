"""What pages and the other rooms ask about machines, instruments and the air."""

from apps.equipment.queries.due import calendar
from apps.equipment.queries.machines import (
    conditioning_rooms,
    equipment_list,
    get_equipment,
    history,
    told,
    usable,
    with_state,
)
from apps.equipment.queries.room_air import (
    air_record,
    atmosphere,
    atmosphere_at,
    band_of,
    offered_bands,
    rule_at,
    rules_at,
)
from apps.equipment.queries.states import State, state_at

__all__ = [
    "State",
    "air_record",
    "atmosphere",
    "atmosphere_at",
    "band_of",
    "calendar",
    "conditioning_rooms",
    "equipment_list",
    "get_equipment",
    "history",
    "offered_bands",
    "rule_at",
    "rules_at",
    "state_at",
    "told",
    "usable",
    "with_state",
]
