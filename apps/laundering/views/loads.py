"""One load on one page, and each act on it."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import posted_key
from apps.core.tablet import tablet
from apps.intake.models import Specimen
from apps.laundering import queries, services, start_page
from apps.laundering.forms import ActForm, AddPieceForm, JudgeVoidForm, ReasonForm
from apps.laundering.models import Load
from apps.laundering.pages import Bound, end_form, load_context
from apps.laundering.queries import LoadWhole
from apps.laundering.services.figures import figure
from apps.laundering.views.posted import moment, numbers, refuse
from apps.methods.queries import told_figures

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
    context = load_context(load, request.user, clock.now(), bound) | {"tablet": tablet(request)}
    context["adding"] = "add" in request.GET or name == "add"
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


@require_safe
@role_required(Role.LAUNDRY, Role.MANAGER)
def water(request: HttpRequest, number: int) -> HttpResponse:
    """Whether the water that was just measured is as asked: told before the cloth is in."""
    load = the_load(request, number)
    try:
        rule = {"what": "The water", "field": "water_temp_c", "unit": "°C", "most": 100}
        problems = services.water_problems(load.procedure, figure(request.GET.get("water_temp_c", ""), **rule))
        told = {"sentence": " ".join(one.sentence for one in problems), "fits": not problems}
    except Refusal as refusal:
        told = {"sentence": str(refusal), "fits": False}
    return render(request, "laundering/_water.html", told)


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def start(request: HttpRequest, number: int) -> HttpResponse:
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    today, manager = timezone.localdate(clock.now()), Role.MANAGER in request.user.roles
    figures = told_figures(load.procedure)
    form = start_page.start_form(LoadWhole(load, request.user), manager, today, figures, request.POST)
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        shown = form.cleaned_data["shown"]
        try:
            load = services.start_wash(load_id=load.pk, shown=shown, **form.typed, **form.written, **who)
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
    form = end_form(LoadWhole(load, request.user), told_figures(load.procedure), data=request.POST)
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
            services.void_load(load_id=load.pk, **form.why, **who)
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
            services.take_out(load_id=load.pk, specimen_id=specimen.pk, **form.why, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{specimen.short_code} is out of load {load.pk}.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "out", form, {specimen.pk})


@require_http_methods(ACT)
@role_required(Role.LAUNDRY, Role.MANAGER)
def add(request: HttpRequest, number: int) -> HttpResponse:
    """One piece more goes into the load, by its label."""
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = AddPieceForm(request.POST, prefix="add", manager=request.user.manager)
    if form.is_valid():
        who = {"by": request.user, "at": moment(request, form), "key": posted_key(request)}
        try:
            specimen = queries.piece_called(request.user, load, form.cleaned_data["code"])
            services.add_piece(load_id=load.pk, specimen_id=specimen.pk, **form.written, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{specimen.short_code} is in load {load.pk}. Weigh the load anew.")
            return redirect(f"{reverse('laundering:load', args=[load.pk])}?add=1#add")
    return load_page(request, load, "add", form)


@require_http_methods(ACT)
@role_required(Role.MANAGER)
def judge_void(request: HttpRequest, number: int) -> HttpResponse:
    """The manager says what becomes of pieces that were wetted without a cycle."""
    load = the_load(request, number)
    if request.method != "POST":
        return redirect("laundering:load", load.pk)
    form = JudgeVoidForm(request.POST, prefix="judge")
    chosen = numbers(request.POST.getlist("piece"))
    pieces = load.pieces.filter(pk__in=chosen).values_list("pk", flat=True)
    if form.is_valid():
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        try:
            services.judge_void(piece_ids=pieces, **form.cleaned_data, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, "Judged. The report tells it.")
            return redirect("laundering:load", load.pk)
    return load_page(request, load, "judge", form, set(chosen))
