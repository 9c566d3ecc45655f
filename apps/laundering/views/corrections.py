"""Records of ended runs, put right as a whole."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import posted_key
from apps.laundering import queries, services
from apps.laundering.forms import CorrectDryingForm, CorrectLoadForm
from apps.laundering.models import Drying, Load
from apps.laundering.queries import LoadWhole
from apps.laundering.views.dryings import the_drying
from apps.laundering.views.loads import ACT, the_load


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def load(request: HttpRequest, number: int) -> HttpResponse:
    """The record of a closed load, put right as a whole."""
    load = the_load(request, number)
    whole = LoadWhole(load, request.user)
    if load.wash_started_at is None or load.state not in (Load.State.WASHED, Load.State.VOID):
        return redirect("laundering:load", load.pk)
    machines = queries.for_a_wash(timezone.localdate(whole.conditions.wash_started_at))
    initial = {**CorrectLoadForm.record_of(whole.conditions), "shown_revision": whole.revision}
    form = CorrectLoadForm(request.POST if request.method == "POST" else None, machines=machines, initial=initial)
    if form.is_valid():
        data = form.cleaned_data
        rest = {
            name: data[name] for name in ("wash_started_at", "wash_ended_at", "rinse_temp_c", "spun", "water_hardness")
        }
        try:
            row = services.correct_load(
                load_id=load.pk,
                shown_revision=data["shown_revision"],
                record=services.WashRecord(**form.typed, **rest),
                reason=data["reason"],
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"The record of load {load.pk} is corrected (correction {row.revision}).")
            return redirect("laundering:load", load.pk)
    context = {"load": load, "whole": whole, "form": form, "kinds": services.ballast_kinds(load.procedure)}
    return render(request, "laundering/correct.html", context, status=422 if form.is_bound else 200)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def drying(request: HttpRequest, drying_id: int) -> HttpResponse:
    """The record of an ended drying, put right as a whole."""
    drying, load = the_drying(request, drying_id)
    if drying.state != Drying.State.DRIED:
        return redirect("laundering:load", load.pk)
    conditions = queries.dried_of([drying])[drying.pk]
    revision = getattr(conditions, "revision", 0)
    form = CorrectDryingForm(
        request.POST if request.method == "POST" else None,
        procedure=drying.procedure,
        dryers=queries.dryers(timezone.localdate(conditions.started_at)),
        initial={**CorrectDryingForm.record_of(conditions), "shown_revision": revision},
    )
    if form.is_valid():
        data = form.cleaned_data
        dryer = data.get("dryer")
        try:
            row = services.correct_drying(
                drying_id=drying.pk,
                shown_revision=data["shown_revision"],
                record=services.DryingRecord(**form.found),
                dryer_id=dryer and dryer.pk,
                started_at=data["started_at"],
                ended_at=data["ended_at"],
                reason=data["reason"],
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"The record of drying {drying.pk} is corrected (correction {row.revision}).")
            return redirect("laundering:load", load.pk)
    context = {"load": load, "drying": drying, "form": form}
    return render(request, "laundering/correct_drying.html", context, status=422 if form.is_bound else 200)
