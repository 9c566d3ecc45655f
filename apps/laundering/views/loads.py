"""One load on one page, and each act on it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.tablet import tablet
from apps.equipment.models import Equipment
from apps.intake.models import Specimen
from apps.laundering import pages, services
from apps.laundering.forms import ActForm, CorrectLoadForm, EndWashForm, ReasonForm
from apps.laundering.models import Load
from apps.laundering.pages import Bound
from apps.laundering.queries import LoadWhole
from apps.laundering.services.figures import figure
from apps.laundering.views.posted import moment, numbers, posted_key, refuse

ACT = ["GET", "HEAD", "POST"]


def the_load(request: HttpRequest, number: int) -> Load:
    loads = Load.objects.visible_to(request.user).select_related("procedure", "washer", "made_up_by", "wash_by")
    return get_object_or_404(loads, pk=number)


def load_page(
    request: HttpRequest, load: Load, name: str = "", form: ActForm | None = None, chosen=None
) -> HttpResponse:
    """The page of a load; `form` is one that came back with errors, under the name of its step."""
    if form:
        refuse(request, *(sentence for errors in form.errors.values() for sentence in errors))
    bound = Bound({name: form} if form else {}, chosen)
    context = pages.load_context(load, request.user, clock.now(), bound) | {"tablet": tablet(request)}
    return render(request, "laundering/load.html", context, status=422 if form else 200)


@require_safe
@role_required(*STAFF_ROLES)
def load(request: HttpRequest, number: int) -> HttpResponse:
    return load_page(request, the_load(request, number))


@require_safe
@role_required(Role.LAUNDRY, Role.MANAGER)
def ballast(request: HttpRequest, number: int) -> HttpResponse:
    """How much ballast goes to what was just weighed; asked while the form is filled in."""
    load = the_load(request, number)
    try:
        typed = request.GET.get("specimen_mass_g", "")
        rule = {"what": "The specimens", "field": "specimen_mass_g", "unit": "g", "most": 99_999}
        told = services.ballast_advice(load.procedure, figure(typed, **rule, above_zero=True))
    except Refusal as refusal:
        told = str(refusal)
    return render(request, "laundering/_proposal.html", {"proposal": told})


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def start(request: HttpRequest, number: int) -> HttpResponse:
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    today, manager = timezone.localdate(clock.now()), Role.MANAGER in request.user.roles
    form = pages.start_form(LoadWhole(load, request.user), manager, today, request.POST)
    if form.is_valid():
        names = ("deviation", "at_risk", "late_reason")
        otherwise = {name: form.cleaned_data[name] for name in names if name in form.cleaned_data}
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            load = services.start_wash(load_id=load.pk, **form.typed, **otherwise, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Load {load.pk} is washing in {load.washer}.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "start", form)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def end(request: HttpRequest, number: int) -> HttpResponse:
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = EndWashForm(request.POST)
    if form.is_valid():
        values = {name: form.cleaned_data[name] for name in ("spun", "rinse_temp_c", "late_reason")}
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            services.end_wash(load_id=load.pk, **values, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Load {load.pk} is washed. Put its pieces to dry.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "end", form)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def void(request: HttpRequest, number: int) -> HttpResponse:
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = ReasonForm(request.POST, prefix="void")
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            services.void_load(load_id=load.pk, reason=form.cleaned_data["reason"], **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Load {load.pk} does not count. Its pieces may be washed again.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "void", form)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def take_out(request: HttpRequest, number: int) -> HttpResponse:
    """One piece leaves the load."""
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = ReasonForm(request.POST, prefix="out")
    specimens = Specimen.objects.visible_to(request.user).filter(pieces__load=load)
    wanted = numbers([request.POST.get("specimen", "")])
    specimen = get_object_or_404(specimens, pk=wanted[0] if wanted else 0)
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            services.take_out(load_id=load.pk, specimen_id=specimen.pk, reason=form.cleaned_data["reason"], **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{specimen.short_code} is out of load {load.pk}.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "out", form, {specimen.pk})


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def correct(request: HttpRequest, number: int) -> HttpResponse:
    """The record of a closed load, put right as a whole."""
    load = the_load(request, number)
    whole = LoadWhole(load, request.user)
    if load.wash_started_at is None or load.state not in (Load.State.WASHED, Load.State.VOID):
        return redirect("laundering:load", load.pk)
    washers = Equipment.objects.filter(kind=Equipment.Kind.WASHER)
    initial = {**CorrectLoadForm.record_of(whole.conditions), "shown_revision": whole.revision}
    form = CorrectLoadForm(request.POST if request.method == "POST" else None, washers=washers, initial=initial)
    if form.is_valid():
        data = form.cleaned_data
        times = {name: data[name] for name in ("wash_started_at", "wash_ended_at", "rinse_temp_c", "spun")}
        try:
            row = services.correct_load(
                load_id=load.pk,
                shown_revision=data["shown_revision"],
                record=services.WashRecord(**form.typed, **times),
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
    context = {"load": load, "whole": whole, "form": form}
    return render(request, "laundering/correct.html", context, status=422 if form.is_bound else 200)
