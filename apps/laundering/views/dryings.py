"""Putting to dry and taking out again."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import posted_key
from apps.laundering import pages, services
from apps.laundering.forms import ReasonForm
from apps.laundering.models import Drying, Load
from apps.laundering.views.loads import ACT, load_page, the_load
from apps.laundering.views.posted import moment, numbers
from apps.methods.models import DryingProcedure


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def start(request: HttpRequest, number: int, procedure_id: int) -> HttpResponse:
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    procedure = get_object_or_404(DryingProcedure, pk=procedure_id)
    manager, today = Role.MANAGER in request.user.roles, timezone.localdate(clock.now())
    form = pages.dry_form(procedure, manager, today, request.POST)
    chosen = numbers(request.POST.getlist("piece"))
    if form.is_valid():
        dryer = form.cleaned_data.get("dryer")
        prepared = form.cleaned_data["prepared"]
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            drying = services.start_drying(
                load_id=load.pk, piece_ids=chosen, dryer_id=dryer and dryer.pk, prepared=prepared, **form.written, **who
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Drying {drying.pk} has begun{f' in {dryer}' if dryer else ''}.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, f"dry-{procedure.pk}", form, set(chosen))


def the_drying(request: HttpRequest, drying_id: int) -> tuple[Drying, Load]:
    """A drying, and the load on whose page it is looked at."""
    dryings = Drying.objects.visible_to(request.user).select_related("procedure", "dryer")
    drying = get_object_or_404(dryings, pk=drying_id)
    of_pieces = {*drying.pieces.values_list("load_id", flat=True)}
    of_pieces |= {*drying.pieces_when_void.values_list("load_id", flat=True)}
    wanted = numbers([request.POST.get("load", "") or request.GET.get("load", "")])
    return drying, the_load(request, wanted[0] if wanted and wanted[0] in of_pieces else min(of_pieces, default=0))


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def end(request: HttpRequest, drying_id: int) -> HttpResponse:
    drying, load = the_drying(request, drying_id)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = pages.end_drying_form(drying, Role.MANAGER in request.user.roles, request.POST)
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            services.end_drying(drying_id=drying.pk, **form.found, **form.written, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Drying {drying.pk} has ended. Tick off the pieces.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, f"dried-{drying.pk}", form)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def void(request: HttpRequest, drying_id: int) -> HttpResponse:
    drying, load = the_drying(request, drying_id)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = ReasonForm(request.POST, prefix=f"void-drying-{drying.pk}")
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            services.void_drying(drying_id=drying.pk, **form.why, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Drying {drying.pk} does not count. Its pieces wait to be dried again.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, f"void-drying-{drying.pk}", form)
