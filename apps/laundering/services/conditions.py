"""What was weighed and measured of a wash: read as typed, compared with the procedure, told in the trail."""

from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, NotRequired, TypedDict, Unpack

from apps.core.errors import Refusal
from apps.laundering.models import Load
from apps.laundering.services import rules
from apps.laundering.services.figures import Typed, figure, optional_figure, whole, words
from apps.methods.models import LaunderingProcedure


@dataclass(frozen=True)
class Wash:
    """The columns of a wash run's conditions, checked one by one."""

    washer_id: int
    specimen_mass_g: Decimal
    ballast_mass_g: Decimal
    ballast_pieces: int
    ballast: str
    detergent: str
    detergent_lot: str
    detergent_g: Decimal
    water_temp_c: Decimal
    temp_source: str
    thermometer_id: int | None
    balance_id: int | None
    programme: str
    water_level: str

    def problems(self, procedure: LaunderingProcedure) -> list[rules.Problem]:
        """What is not as the procedure asks."""
        return [
            *rules.mass_problems(procedure, self.specimen_mass_g, self.ballast_mass_g),
            *rules.ballast_problems(procedure, self.ballast, self.ballast_mass_g),
            *rules.detergent_problems(procedure, self.detergent_g),
            *rules.water_problems(procedure, self.water_temp_c),
            *rules.programme_problems(procedure, self.programme),
        ]

    def columns(self) -> dict[str, Any]:
        return asdict(self)

    def facts(self) -> dict[str, Any]:
        """As the trail keeps them; machine and instruments go by their names there."""
        return {name: value for name, value in asdict(self).items() if not name.endswith("_id")}


@dataclass(frozen=True)
class WashRecord:
    """What the record of a wash should say, each figure as it was typed."""

    washer_id: int | None
    specimen_mass_g: Typed
    ballast_mass_g: Typed
    ballast_pieces: Typed
    ballast: str
    detergent: str
    detergent_lot: str
    detergent_g: Typed
    water_temp_c: Typed
    temp_source: str
    wash_started_at: datetime
    wash_ended_at: datetime
    rinse_temp_c: Typed = None
    spun: bool | None = None
    thermometer_id: int | None = None
    balance_id: int | None = None
    programme: str = ""
    water_level: str = ""
    water_hardness: str = ""

    def read(self) -> Wash:
        return read_wash(**{name: getattr(self, name) for name in Wash.__dataclass_fields__})

    def read_rinse(self) -> Decimal | None:
        return read_rinse(self.rinse_temp_c)


def read_rinse(typed: Typed) -> Decimal | None:
    return optional_figure(typed, what="The rinse temperature", field="rinse_temp_c", unit="°C", most=100)


class WashTyped(TypedDict):
    """What hands type of a wash that begins."""

    washer_id: int | None
    specimen_mass_g: Typed
    ballast_mass_g: Typed
    ballast_pieces: Typed
    ballast: str
    detergent: str
    detergent_lot: str
    detergent_g: Typed
    water_temp_c: Typed
    temp_source: str
    thermometer_id: NotRequired[int | None]
    balance_id: NotRequired[int | None]
    programme: NotRequired[str]
    water_level: NotRequired[str]


def read_wash(**typed: Unpack[WashTyped]) -> Wash:
    """Figures as they were typed become the record of the run; each that cannot be is refused beside its field."""
    if typed["washer_id"] is None:
        raise Refusal("Choose the washer.", code="no_washer", field="washer")
    source = typed["temp_source"] or ""
    wash = Wash(
        washer_id=typed["washer_id"],
        specimen_mass_g=_grams(typed, "specimen_mass_g", "The specimens", 99_999, above_zero=True),
        ballast_mass_g=_grams(typed, "ballast_mass_g", "The ballast", 99_999),
        ballast_pieces=whole(typed["ballast_pieces"], what="The pieces of ballast", field="ballast_pieces", most=200),
        ballast=_line(typed, "ballast", "The type of ballast", 120),
        detergent=_line(typed, "detergent", "The detergent", 120),
        detergent_lot=_line(typed, "detergent_lot", "The lot", 60),
        detergent_g=_grams(typed, "detergent_g", "The detergent", 9_999),
        water_temp_c=figure(typed["water_temp_c"], what="The water", field="water_temp_c", unit="°C", most=100),
        temp_source=source,
        thermometer_id=typed.get("thermometer_id") if source == Load.TempSource.DIP else None,
        balance_id=typed.get("balance_id"),
        programme=_line(typed, "programme", "The programme", 60),
        water_level=_line(typed, "water_level", "The water level", 60),
    )
    if bool(wash.ballast_mass_g) != bool(wash.ballast_pieces):
        raise Refusal(
            "The pieces of ballast and their mass do not go together.", code="ballast", field="ballast_pieces"
        )
    if wash.ballast_mass_g and not wash.ballast:
        raise Refusal("Say what type of ballast it is.", code="missing", field="ballast")
    if wash.detergent_g and not wash.detergent:
        raise Refusal("Say which detergent it is.", code="missing", field="detergent")
    if wash.temp_source not in Load.TempSource.values:
        raise Refusal("Say how the temperature was measured.", code="temp_source", field="temp_source")
    return wash


def _grams(typed: WashTyped, name: str, what: str, most: int, *, above_zero: bool = False) -> Decimal:
    return figure(typed[name], what=what, field=name, unit="g", most=most, above_zero=above_zero)


def _line(typed: WashTyped, name: str, what: str, most: int) -> str:
    return words(typed.get(name, ""), what=what, field=name, most=most)
