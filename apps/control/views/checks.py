"""Checks of the washers by a fabric whose change is known."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.control import queries, services
from apps.control.charts import charts
from apps.control.forms import BaselineForm, FabricForm, PlanForm, RunForm
from apps.control.models import Check, CheckPoint, Direction
from apps.control.queries.checks import LEAST_POINTS, words_of
from apps.control.views.common import act
from apps.core import clock
from apps.core.act_form import ActForm, ReasonForm
from apps.core.posting import get_or_post, posted
from apps.core.tables import table_file

COLUMNS = ("check fabric", "washer", "procedure", "direction", "load", "washed", "pairs", "change_pct")
COLUMNS += ("moving_range_pct", "weighted_average_pct", "told", "read_by", "read_at")


@require_safe
@role_required(*STAFF_ROLES)
def overview(request: HttpRequest) -> HttpResponse:
    roles = request.user.roles
    context = {"rows": queries.overview(clock.now()), "may_edit": Role.MANAGER in roles}
    context["sees_work"] = bool({Role.FRONT_DESK, Role.MANAGER} & roles)
    return render(request, "control/overview.html", context)


@get_or_post
@role_required(Role.MANAGER)
def new_fabric(request: HttpRequest) -> HttpResponse:
    form = FabricForm(posted(request))
    if form.is_valid() and (fabric := act(request, form, services.add_fabric, **form.cleaned_data)):
        messages.success(request, f"{fabric} is in the book. Say where and how often it runs.")
        return redirect("control:plan")
    return render(request, "control/fabric.html", {"form": form})


@get_or_post
@role_required(Role.MANAGER)
def plan(request: HttpRequest) -> HttpResponse:
    form = PlanForm(posted(request))
    if form.is_valid():
        data = form.cleaned_data
        chosen = {f"{name}_id": data[name].pk for name in ("fabric", "washer", "procedure")}
        often = {name: data[name] for name in ("every_loads", "every_days")}
        if check := act(request, form, services.plan_check, **chosen, **often):
            messages.success(request, f"{check} is planned.")
            return redirect("control:check", check.pk)
    return render(request, "control/plan.html", {"form": form})


@require_safe
@role_required(*STAFF_ROLES)
def check(request: HttpRequest, check_id: int) -> HttpResponse:
    return check_page(request, _check(check_id))


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def run(request: HttpRequest, check_id: int) -> HttpResponse:
    """A piece of the fabric has gone through a load."""
    one = _check(check_id)
    form = RunForm(posted(request), check=one)
    if form.is_valid():
        given = {"load_id": int(form.cleaned_data["load"]), "unit": form.cleaned_data["unit"], "typed": form.typed}
        if act(request, form, services.record_run, check_id=one.pk, **given):
            messages.success(request, f"What load {given['load_id']} did is in the book.")
            return redirect("control:check", one.pk)
    return render(request, "control/run.html", {"check": one, "form": form})


@require_POST
@role_required(Role.MANAGER)
def baseline(request: HttpRequest, check_id: int, direction: str) -> HttpResponse:
    one = _check(check_id)
    series = {each.direction: each for each in queries.series_of([one])[one.pk]}
    if direction not in series:
        raise Http404
    form = BaselineForm(request.POST, series=series[direction])
    if form.is_valid():
        data = form.cleaned_data
        given = {"first_id": data["first"], "last_id": data["last"], "note": data["note"]}
        if act(request, form, services.set_baseline, check_id=one.pk, direction=direction, **given):
            messages.success(request, f"The limits in {Direction(direction).label} are set.")
            return redirect("control:check", one.pk)
    return check_page(request, one, {direction: form})


@get_or_post
@role_required(Role.MANAGER)
def end(request: HttpRequest, check_id: int) -> HttpResponse:
    one = _check(check_id)
    effect = "The fabric runs no more here. What it told stays in the book."
    return _reason_page(request, partial(services.end_check, check_id=one.pk), f"End the check: {one}", effect, one)


@get_or_post
@role_required(Role.MANAGER)
def void(request: HttpRequest, point_id: int) -> HttpResponse:
    point = get_object_or_404(CheckPoint.objects.select_related("check_of__fabric", "check_of__washer"), pk=point_id)
    what = f"Make void: load {point.load_id}, {point.get_direction_display()}"
    effect = "It counts no more, and stays in the book. A hold that it caused is released on the machine's page."
    return _reason_page(request, partial(services.void_point, point_id=point.pk), what, effect, point.check_of)


@require_safe
@role_required(*STAFF_ROLES)
def table(request: HttpRequest, check_id: int, kind: str) -> HttpResponse:
    """All points as a table to keep."""
    one = _check(check_id)
    rows = [
        (
            *(str(one.fabric), one.washer.name, one.procedure.code, series.direction, row.point.load_id),
            *(row.point.load.wash_started_at, len(row.point.pairs.all()), row.change, row.moving_range),
            row.weighted.value if row.weighted else None,
            *("; ".join(words_of(rule) for rule in row.told), row.point.by.full_name, row.point.at),
        )
        for series in queries.series_of([one])[one.pk]
        for row in series.rows
    ]
    return table_file(kind, f"check-{one.pk}", COLUMNS, rows)


def check_page(request: HttpRequest, one: Check, forms: dict[str, BaselineForm] | None = None) -> HttpResponse:
    standing, manager = queries.check_page(one, clock.now()), Role.MANAGER in request.user.roles
    parts = [
        (each, charts(each), (forms or {}).get(each.direction) or BaselineForm(series=each)) for each in standing.series
    ]
    context: dict[str, Any] = {"standing": standing, "check": one, "parts": parts, "may_edit": manager}
    context |= {"may_run": manager or Role.BENCH in request.user.roles, "least": LEAST_POINTS}
    return render(request, "control/check.html", context, status=422 if forms else 200)


def _reason_page(request: HttpRequest, service: Any, what: str, effect: str, one: Check) -> HttpResponse:
    form: ActForm = ReasonForm(posted(request))
    if form.is_valid() and act(request, form, service, reason=form.cleaned_data["reason"]):
        messages.success(request, f"Done. {what}")
        return redirect("control:check", one.pk)
    return render(request, "control/reason.html", {"form": form, "what": what, "effect": effect, "check": one})


def _check(check_id: int) -> Check:
    return get_object_or_404(Check.objects.select_related("fabric", "washer", "procedure"), pk=check_id)
