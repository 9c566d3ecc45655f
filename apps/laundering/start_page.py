"""The first step of a load's page: what to weigh, measure and set, and what was taken the last time."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.urls import reverse

from apps.intake.models import Sample
from apps.laundering import queries
from apps.laundering.forms import StartWashForm
from apps.laundering.models import LoadPiece
from apps.laundering.queries import LoadWhole
from apps.laundering.services import ballast_advice, ballast_kinds
from apps.laundering.services.figures import plain
from apps.methods.models import LaunderingProcedure

WASH_CAUTIONS = (
    "Water can scald and the drum moves: keep hands out until it stands.",
    "Do not breathe detergent dust; pour it low.",
    "Wet floor, wet hands: no plugs, no switches. Wet cloth is heavy: lift it in parts.",
)
GARMENT_CAUTION = (
    "Garments: pockets empty, no battery, heated part, pin or needle left in; fastened, and inside out where the"
    " method says so."
)


def start_form(
    whole: LoadWhole, manager: bool, today: date, figures: Mapping[str, str], data: Any = None
) -> StartWashForm:
    """Filled with what was used last for this procedure; what must be weighed and measured is left empty."""
    procedure = whole.load.procedure
    last = queries.last_of_procedure(procedure) if data is None else None
    open_pieces = [str(piece.pk) for piece in whole.pieces if piece.open]
    initial = {"temp_source": "display" if is_locked(procedure) else "dip", "programme": procedure.programme}
    initial["shown"] = " ".join(open_pieces)
    if " or " not in procedure.detergent:  # what is a choice in the standard is no record of what was taken
        initial["detergent"] = procedure.detergent
    if last:
        same = ("ballast", "detergent", "detergent_lot", "temp_source", "water_level")
        initial |= {name: getattr(last, name) for name in same}
        used = {name: getattr(last, f"{name}_id") for name in ("thermometer", "balance")}
        initial |= {name: key for name, key in used.items() if key}
    form = StartWashForm(data, manager=manager, machines=queries.for_a_wash(today), initial=initial)
    hints = asked(procedure)
    form.fields["water_temp_c"].help_text = hints["water"]
    form.fields["detergent_g"].help_text = hints["detergent"]
    form.fields["detergent"].help_text = procedure.detergent
    form.fields["ballast"].help_text = f"Asked: {procedure.ballast}"
    form.fields["ballast"].widget.attrs["list"] = "ballast-kinds"
    if level := figures.get("water level"):
        form.fields["water_level"].help_text = f"Asked: {level}"
    for field, name, place in (("specimen_mass_g", "ballast", "proposal"), ("water_temp_c", "water", "water-told")):
        _looked_at(form, field, reverse(f"laundering:{name}", args=[whole.load.pk]), f"#{place}")
    return form


def _looked_at(form: StartWashForm, field: str, address: str, target: str) -> None:
    """What was just typed is held against what is asked while the hands are still there, if there is script."""
    attrs = {"hx-get": address, "hx-trigger": "change", "hx-target": target, "hx-swap": "outerHTML"}
    form.fields[field].widget.attrs |= attrs


def wash_cautions(whole: LoadWhole) -> tuple[str, ...]:
    garments = any(piece.specimen.request.sample.kind == Sample.Kind.GARMENT for piece in whole.pieces if piece.open)
    return (*WASH_CAUTIONS, GARMENT_CAUTION) if garments else WASH_CAUTIONS


def twins(whole: LoadWhole) -> str:
    """Pieces of several jobs that go by the same short code: after the wash only the job's number tells them apart."""
    jobs: dict[str, set[int]] = {}
    for piece in whole.pieces:
        if piece.open:
            jobs.setdefault(piece.specimen.short_code, set()).add(piece.specimen.request.sample.job_id)
    codes = [code for code, of in jobs.items() if len(of) > 1]
    if not codes:
        return ""
    return (
        f"More than one piece here is called {', '.join(codes)}. See that each carries its job's number too: washed,"
        " they cannot be told apart otherwise."
    )


def is_locked(procedure: LaunderingProcedure) -> bool:
    """A front loader: once it fills nobody reaches into it, and the cloth is in before the water."""
    return procedure.machine_kind.startswith("front-loading")


def asked(procedure: LaunderingProcedure) -> dict[str, Any]:
    """What the procedure asks for, in the words of the balance and the thermometer."""
    load_low = procedure.load_mass_g - procedure.load_tolerance_g
    load_high = procedure.load_mass_g + procedure.load_tolerance_g
    low = procedure.wash_temp_c - procedure.wash_temp_tolerance_c
    high = procedure.wash_temp_c + procedure.wash_temp_tolerance_c
    dose, tolerance = procedure.detergent_g, procedure.detergent_tolerance_g
    locked = is_locked(procedure)
    when = "" if locked else ", before the cloth is in"
    detergent = "Dose not known to us: as your copy of the standard says."
    if dose is not None:
        detergent = f"Asked: {plain(dose)} ± {plain(tolerance)} g" if tolerance else f"Asked: {plain(dose)} g"
    return {
        "load": f"{plain(load_low)} to {plain(load_high)} g",
        "half": "the specimens half of it at most" if procedure.specimens_at_most_half else "",
        "kinds": ballast_kinds(procedure),
        "water": f"Asked: {plain(low)} to {plain(high)} °C{when}",
        "locked": locked,
        "detergent": detergent,
    }


def proposal(whole: LoadWhole) -> str:
    """Ballast to begin with: as before for the same pieces, else by mass per area. The balance decides."""
    pieces, procedure = [piece for piece in whole.pieces if piece.open], whole.load.procedure
    if before := queries.weighed_before(pieces):
        return (
            f"The same pieces weighed {plain(before.specimen_mass_g)} g in load {before.pk}, with"
            f" {before.ballast_pieces} pieces of ballast ({plain(before.ballast_mass_g)} g)."
        )
    masses = [expected(piece) for piece in pieces]
    if masses and None not in masses:
        mass = sum(masses, Decimal(0)).quantize(Decimal(1))
        return f"By mass per area about {plain(mass)} g: {ballast_advice(procedure, mass)}"
    return f"A piece of ballast weighs about {plain(procedure.ballast_piece_g)} g."


def expected(piece: LoadPiece) -> Decimal | None:
    request = piece.specimen.request
    return queries.expected_mass_g(request.method.specimen_side_mm, request.sample.mass_gsm)


def is_spun(whole: LoadWhole) -> bool:
    """Whether the pieces in hand ask for the last spin."""
    return not any(piece.specimen.request.drying.without_spin for piece in whole.pieces if piece.open)
