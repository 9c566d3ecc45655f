"""The page of one load: which step is next, and the form of each step that can be taken now."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.forms import Form
from django.utils import timezone

from apps.accounts.models import Role, User
from apps.accounts.queries import the_lab
from apps.intake.models import Sample
from apps.laundering import queries
from apps.laundering.forms import (
    AddPieceForm,
    EndDryingForm,
    EndWashForm,
    JudgeVoidForm,
    LateForm,
    ReasonForm,
    StartDryingForm,
)
from apps.laundering.models import Drying, Load, LoadPiece
from apps.laundering.queries import LoadWhole, Pace, Timer
from apps.laundering.start_page import asked, is_spun, proposal, start_form, twins, wash_cautions
from apps.methods.models import DryingProcedure
from apps.methods.queries import told_figures

Kind = DryingProcedure.Kind
WRITERS = {Role.LAUNDRY, Role.MANAGER}
REST = {
    Sample.Construction.KNIT: "Knits: lay flat, and never hang before measuring.",
    Sample.Construction.WOVEN: "Wovens: hang with the fabric length vertical, or lay flat.",
    Sample.Construction.MIXED: "Garments of both: lay flat.",
}
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
        "judge_form": bound.forms.get("judge") or JudgeVoidForm(prefix="judge"),
        "judged": bound.chosen if "judge" in bound.forms else {row.piece.pk for row in whole.to_judge},
        "may_judge": manager and bool(whole.to_judge),
        "leavers": [row for row in whole.rows if row.may_leave],
        "closed": load.state in (Load.State.WASHED, Load.State.VOID) and load.wash_started_at is not None,
        "may_void": load.state != Load.State.VOID and any(piece.open for piece in whole.pieces) and not whole.running,
        "nothing_ticked": not any(piece.outcome == LoadPiece.Outcome.TICKED for piece in whole.pieces),
    }
    beginning = writes and load.state in (Load.State.MADE_UP, Load.State.WASHING)
    figures = told_figures(load.procedure) if beginning else {}
    if writes and load.state == Load.State.MADE_UP:
        context |= {"start_form": bound.forms.get("start") or start_form(whole, manager, today, figures)}
        context |= {"proposal": proposal(whole), "asked": asked(load.procedure)}
        context["later_form"] = end_form(whole, figures, auto_id="later_%s")
        context["add_form"] = bound.forms.get("add") or AddPieceForm(prefix="add", manager=manager)
    if writes and load.state == Load.State.WASHING:
        context["end_form"] = bound.forms.get("end") or end_form(whole, figures)
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
    shown |= {"add": "add_form" in context, "judge": context["may_judge"]}
    shown |= {"void": context["may_void"] and context["nothing_ticked"], "out": bool(context["leavers"])}
    shown |= {f"dry-{section.procedure.pk}": True for section in context.get("dry_sections", ())}
    for section in context.get("end_sections", ()):
        shown |= {f"dried-{section.drying.pk}": True, f"void-drying-{section.drying.pk}": True}
    return next((form for name, form in bound.forms.items() if not shown.get(name)), None)


def end_form(whole: LoadWhole, figures: Mapping[str, str], **how: Any) -> EndWashForm:
    form = EndWashForm(initial={"spun": is_spun(whole)}, **how)
    if rinse := figures.get("rinse temperature"):
        form.fields["rinse_temp_c"].help_text = f"Asked: {rinse}"
    return form


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
    return StartDryingForm(data, procedure=procedure, dryers=queries.dryers(today), manager=manager, prefix=prefix)


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
