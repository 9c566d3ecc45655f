"""The conditioning rack: what rests, since when, and the lab's rule about it."""

from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.equipment.queries import conditioning_rooms
from apps.measuring import queries, services
from apps.measuring.forms import RackForm, RuleForm, WeighForm
from apps.measuring.views.sheets import may_write, sent, when

PAGE = 50


@require_safe
@role_required(*STAFF_ROLES)
def rack(request: HttpRequest) -> HttpResponse:
    """What is to rest before it is read, and how each stands."""
    return rack_page(request)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def put(request: HttpRequest) -> HttpResponse:
    """Specimens lie on the rack from now on."""
    if request.method != "POST":
        return redirect("measuring:rack")
    waiting = list(queries.due_to_rest(request.user))
    form = RackForm(request.POST, rooms=conditioning_rooms(), waiting=waiting)
    if form.is_valid():
        told = {name: form.cleaned_data[name] for name in ("from_dry_side", "hand_ironed")}
        who = {"by": request.user, "at": when(form), "key": posted_key(request)}
        try:
            stays = services.put_on_rack(
                specimen_ids=form.specimen_ids, room_id=form.cleaned_data["room"], **told, **who
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            names = ", ".join(stay.specimen.code for stay in stays)
            messages.success(request, f"On the rack: {names}.")
            chosen = {"room": form.cleaned_data["room"] or "", "dry": "on" if told["from_dry_side"] else "off"}
            return redirect(f"{reverse('measuring:rack')}?{urlencode(chosen)}")
    return rack_page(request, form=form)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def weigh(request: HttpRequest) -> HttpResponse:
    """A specimen on the rack is weighed, for the equal-mass test."""
    if request.method != "POST":
        return redirect("measuring:rack")
    form = WeighForm(request.POST, waiting=list(queries.due_to_rest(request.user)))
    if form.is_valid():
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        specimen, mass = form.cleaned_data["code"], form.cleaned_data["mass"]
        try:
            row = services.weigh(specimen_id=specimen.pk, mass=mass, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{specimen.short_code} weighs {row.mass_g.normalize():f} g.")
            return redirect("measuring:rack")
    return rack_page(request, weighing=form)


@get_or_post
@role_required(Role.MANAGER)
def rule(request: HttpRequest) -> HttpResponse:
    """What the lab does about bad air, pauses of the log, and reading early."""
    there = queries.rule_in_force()
    shown = {"excursions": "extend", "gaps": "disclose", "early": "disclose"}
    if there:
        shown = {name: getattr(there, name) for name in shown}
    form = RuleForm(sent(request), initial=shown)
    if form.is_valid():
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        try:
            services.set_rule(**form.cleaned_data, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, "The rule holds from now on.")
            return redirect("measuring:rack")
    context = {"form": form, "there": there}
    return render(request, "measuring/rack_rule.html", context, status=422 if form.is_bound else 200)


def rack_page(request: HttpRequest, *, form: RackForm | None = None, weighing: WeighForm | None = None) -> HttpResponse:
    page = Paginator(queries.due_to_rest(request.user), PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": queries.rack_rows(page, at=clock.now()),
        "form": form or RackForm(rooms=conditioning_rooms(), waiting=[], like=request.GET),
        "weighing": weighing or WeighForm(waiting=[]),
        "rule": queries.rule_in_force(),
        "may_write": may_write(request),
        "may_rule": Role.MANAGER in request.user.roles,
    }
    return render(request, "measuring/rack.html", context, status=422 if form or weighing else 200)
