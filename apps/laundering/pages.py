"""The page of one load: which step is next, and the form of each step that can be taken now."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.forms import Form
from django.urls import reverse
from django.utils import timezone

from apps.accounts.models import Role, User
from apps.accounts.queries import the_lab
from apps.equipment.models import Equipment
from apps.equipment.queries import usable
from apps.intake.models import Sample
from apps.laundering import queries
from apps.laundering.forms import EndDryingForm, EndWashForm, LateForm, ReasonForm, StartDryingForm, StartWashForm
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.queries import LoadWhole, Pace, Timer
from apps.laundering.services import ballast_advice
from apps.laundering.services.figures import plain
from apps.methods.models import DryingProcedure, LaunderingProcedure

Kind = DryingProcedure.Kind
WRITERS = {Role.LAUNDRY, Role.MANAGER}
REST = {
    Sample.Construction.KNIT: "Knits: lay flat, and never hang before measuring.",
    Sample.Construction.WOVEN: "Wovens: hang with the fabric length vertical, or lay flat.",
    Sample.Construction.MIXED: "Garments of both: lay flat.",
}
WASH_CAUTIONS = (
    "Water can scald and the drum moves: keep hands out until it stands.",
    "Do not breathe detergent dust; pour it low.",
    "Wet floor, wet hands: no plugs, no switches. Wet cloth is heavy: lift it in parts.",
)
GARMENT_CAUTION = (
    "Garments: pockets empty, no battery, heated part, pin or needle left in; fastened, and inside out where the"
    " method says so."
)
MACHINE_CAUTIONS = {
    Kind.TUMBLE: (
        "The drum is hot and moves. Isolate the machine before clearing lint.",
        "Never stop before the cool-down, never pile hot cloth: it can heat itself up and burn.",
        "Nothing damp with solvent or oil goes into a dryer.",
    ),
    Kind.PRESS: ("The press is hot: keep hands clear of the plates.",),
}


@dataclass
class DrySection:
    """Pieces that can be put to dry now, with the form that does it."""

    procedure: DryingProcedure
    pieces: list[LoadPiece]
    others: list[LoadPiece]
    form: Form
    chosen: set[int]
    next: bool = False

    @property
    def cautions(self) -> tuple[str, ...]:
        return MACHINE_CAUTIONS.get(self.procedure.kind, ())


@dataclass
class EndSection:
    """A drying that runs, with the form that ends it and the one that breaks it off."""

    drying: Drying
    form: Form
    void_form: Form
    timer: Timer
    next: bool = False

    @property
    def cautions(self) -> tuple[str, ...]:
        return MACHINE_CAUTIONS.get(self.drying.procedure.kind, ())


@dataclass
class Bound:
    """Forms that came back with errors, by the name of their step, and which boxes were ticked."""

    forms: Mapping[str, Form] = field(default_factory=dict)
    chosen: set[int] | None = None


def load_context(load: Load, user: User, now: datetime, bound: Bound) -> dict[str, Any]:
    """Everything that the page of a load prints."""
    whole = LoadWhole(load, user)
    writes = bool(user.roles & WRITERS)
    manager = Role.MANAGER in user.roles
    today, pace = timezone.localdate(now), Pace.of(the_lab(), now)
    context: dict[str, Any] = {
        "load": load,
        "whole": whole,
        "may_write": writes,
        "steps": steps(whole),
        "rest": [REST[kind] for kind in sorted(whole.constructions)],
        "wash_cautions": wash_cautions(whole),
        "twins": twins(whole),
        "void_form": bound.forms.get("void") or ReasonForm(prefix="void"),
        "out_form": bound.forms.get("out") or ReasonForm(prefix="out"),
        "out_specimen": next(iter(bound.chosen or ()), None) if "out" in bound.forms else None,
        "tick_form": bound.forms.get("tick") or LateForm(prefix="tick"),
        "leavers": [row for row in whole.rows if row.may_leave],
        "closed": load.state in (Load.State.WASHED, Load.State.VOID) and load.wash_started_at is not None,
        "may_void": load.state != Load.State.VOID and any(piece.open for piece in whole.pieces) and not whole.running,
        "nothing_ticked": not any(piece.outcome == LoadPiece.Outcome.TICKED for piece in whole.pieces),
    }
    if writes and load.state == Load.State.MADE_UP:
        context |= {"start_form": bound.forms.get("start") or start_form(whole, manager, today)}
        context |= {"proposal": proposal(whole), "asked": asked(load.procedure)}
        context["later_form"] = EndWashForm(initial={"spun": is_spun(whole)}, auto_id="later_%s")
    if writes and load.state == Load.State.WASHING:
        context["end_form"] = bound.forms.get("end") or EndWashForm(initial={"spun": is_spun(whole)})
        context["timer"] = pace.of_wash(load)
    if writes:
        dry, end = dry_sections(whole, manager, today, bound), end_sections(whole, manager, bound, pace)
        for section in [*dry, *end][:1]:
            section.next = not whole.to_tick  # one madder button a page, on the first thing to do
        context |= {"dry_sections": dry, "end_sections": end}
    context["astray"] = astray(context, whole, bound)
    return context


def astray(context: Mapping[str, Any], whole: LoadWhole, bound: Bound) -> Form | None:
    """A form that came back when its step is no longer to be taken: what it was told goes on top of the page."""
    shown = {"start": "start_form" in context, "end": "end_form" in context, "tick": bool(whole.to_tick)}
    shown |= {"void": context["may_void"] and context["nothing_ticked"], "out": bool(context["leavers"])}
    shown |= {f"dry-{section.procedure.pk}": True for section in context.get("dry_sections", ())}
    for section in context.get("end_sections", ()):
        shown |= {f"dried-{section.drying.pk}": True, f"void-drying-{section.drying.pk}": True}
    return next((form for name, form in bound.forms.items() if not shown.get(name)), None)


def washers(today) -> Any:
    return usable(Equipment.Kind.WASHER, today)


def dryers(today) -> Any:
    return usable(Equipment.Kind.DRYER, today)


def start_form(whole: LoadWhole, manager: bool, today, data: Any = None) -> StartWashForm:
    """Filled with what was used last for this procedure; what must be weighed and measured is left empty."""
    procedure = whole.load.procedure
    last = queries.last_of_procedure(procedure) if data is None else None
    initial = {"temp_source": "display" if is_locked(procedure) else "dip"}
    if " or " not in procedure.detergent:  # what is a choice in the standard is no record of what was taken
        initial["detergent"] = procedure.detergent
    if last:
        initial |= {"ballast": last.ballast, "detergent": last.detergent, "detergent_lot": last.detergent_lot}
        initial["temp_source"] = last.temp_source
    form = StartWashForm(data, manager=manager, washers=washers(today), initial=initial)
    hints = asked(procedure)
    form.fields["water_temp_c"].help_text = hints["water"]
    form.fields["detergent_g"].help_text = hints["detergent"]
    form.fields["detergent"].help_text = procedure.detergent
    form.fields["ballast"].help_text = procedure.ballast
    address = reverse("laundering:ballast", args=[whole.load.pk])
    form.fields["specimen_mass_g"].widget.attrs |= {
        "hx-get": address,
        "hx-trigger": "change",
        "hx-target": "#proposal",
        "hx-swap": "outerHTML",
    }
    return form


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
        "water": f"Asked: {plain(low)} to {plain(high)} °C{when}",
        "locked": locked,
        "detergent": detergent,
    }


def proposal(whole: LoadWhole) -> str:
    """Ballast to begin with: as before for the same pieces, else by mass per area. The balance decides."""
    pieces = [piece for piece in whole.pieces if piece.open]
    if before := queries.weighed_before(whole.load, pieces):
        return (
            f"The same pieces weighed {plain(before.specimen_mass_g)} g in load {before.pk}, with"
            f" {before.ballast_pieces} pieces of ballast ({plain(before.ballast_mass_g)} g)."
        )
    if mass := queries.estimated_mass_g(pieces):
        return f"By mass per area about {plain(mass)} g: {ballast_advice(whole.load.procedure, mass)}"
    return f"A piece of ballast weighs about {plain(whole.load.procedure.ballast_piece_g)} g."


def is_spun(whole: LoadWhole) -> bool:
    """Whether the pieces in hand ask for the last spin."""
    return not any(piece.specimen.request.drying.without_spin for piece in whole.pieces if piece.open)


def dry_sections(whole: LoadWhole, manager: bool, today, bound: Bound) -> list[DrySection]:
    sections = []
    for wet in whole.to_dry:
        form = bound.forms.get(f"dry-{wet.procedure.pk}")
        chosen = bound.chosen if form and bound.chosen is not None else {piece.pk for piece in wet.pieces}
        form = form or dry_form(wet.procedure, manager, today)
        sections.append(DrySection(wet.procedure, list(wet.pieces), list(wet.others), form, chosen))
    return sections


def dry_form(procedure: DryingProcedure, manager: bool, today, data: Any = None) -> StartDryingForm:
    prefix = f"dry-{procedure.pk}"
    return StartDryingForm(data, procedure=procedure, dryers=dryers(today), manager=manager, prefix=prefix)


def end_sections(whole: LoadWhole, manager: bool, bound: Bound, pace: Pace) -> list[EndSection]:
    return [
        EndSection(
            drying,
            bound.forms.get(f"dried-{drying.pk}") or end_drying_form(drying, manager),
            bound.forms.get(f"void-drying-{drying.pk}") or ReasonForm(prefix=f"void-drying-{drying.pk}"),
            pace.of_drying(drying),
        )
        for drying in whole.running
    ]


def end_drying_form(drying: Drying, manager: bool, data: Any = None) -> EndDryingForm:
    return EndDryingForm(data, procedure=drying.procedure, manager=manager, prefix=f"dried-{drying.pk}")


def steps(whole: LoadWhole) -> list[dict[str, str]]:
    """How far the load is, as a row of steps."""
    load = whole.load
    held = [piece for piece in whole.pieces if piece.open]
    done = 1
    if load.state == Load.State.WASHED:
        dry = all(piece.drying and piece.drying.state == Drying.State.DRIED for piece in held)
        done = (4 if not held else 3) if dry else 2
    words = ("Made up", "Washed", "Dried", "Ticked off")
    states = ["done" if place < done else "now" if place == done else "todo" for place in range(len(words))]
    if load.state == Load.State.VOID:
        return []
    return [{"word": word, "state": state} for word, state in zip(words, states, strict=True)]
