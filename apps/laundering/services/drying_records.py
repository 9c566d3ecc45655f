"""What is written down when a drying has ended: read as typed, compared with the procedure."""

from dataclasses import asdict, dataclass
from typing import Any

from apps.core.errors import Refusal
from apps.laundering.models import Drying
from apps.laundering.services import rules
from apps.laundering.services.figures import Typed, optional_figure, whole, words
from apps.methods.models import DryingProcedure

Kind = DryingProcedure.Kind


@dataclass(frozen=True)
class DryingRecord:
    """What the hands found, each figure as it was typed."""

    lint_filter_cleaned: bool = False
    exhaust_c: Typed = None
    remark: str = ""
    cooled_down: bool | None = None
    dryness: str = ""
    longer_minutes: Typed = None

    @property
    def payload(self) -> list[Any]:
        return list(asdict(self).values())


def read_drying(record: DryingRecord, procedure: DryingProcedure) -> tuple[dict[str, Any], list[rules.Problem]]:
    """The columns of a drying run, and what is not as its procedure asks."""
    tumbled = procedure.kind == Kind.TUMBLE
    if record.dryness not in ("", *Drying.Dryness.values):
        raise Refusal("Say how dry the pieces are.", code="dryness", field="dryness")
    longer = str(record.longer_minutes or "").strip()
    values = {
        "exhaust_c": optional_figure(record.exhaust_c, what="The exhaust", field="exhaust_c", unit="°C", most=300),
        "remark": words(record.remark, what="The remark", field="remark", most=300),
        "lint_filter_cleaned": tumbled and record.lint_filter_cleaned,
        "cooled_down": record.cooled_down if tumbled else None,
        "dryness": record.dryness,
        "longer_minutes": whole(longer, what="Longer by", field="longer_minutes", most=5999) or None
        if longer
        else None,
    }
    if tumbled and not record.lint_filter_cleaned and not values["remark"]:
        raise Refusal(
            "Clean the lint filter, or say in the remark why it is not cleaned.", code="lint_filter", field="remark"
        )
    if values["longer_minutes"] and not values["remark"]:
        raise Refusal("Say in the remark why it dried longer: heavy cloth, say.", code="longer", field="remark")
    damp = record.dryness == Drying.Dryness.DAMP
    return values, [*rules.exhaust_problems(procedure, values["exhaust_c"]), *rules.dryness_problems(damp)]
