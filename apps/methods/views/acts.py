"""What a manager says about the catalogue."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.posting import get_or_post, posted_key
from apps.methods import queries, services
from apps.methods.forms import (
    ConfirmForm,
    CopyDryingForm,
    CopyForm,
    CopyMethodForm,
    CopyWashForm,
    RetireForm,
    put_beside,
)
from apps.methods.models import DryingProcedure, ExtraMeasurement, Figure, LaunderingProcedure, TestMethod
from apps.methods.queries import Catalogued
from apps.methods.views.pages import NOT_SAVED, row_page

KINDS = {model.OWNER: model for model in (TestMethod, LaunderingProcedure, DryingProcedure, ExtraMeasurement)}
COPY_FORMS: dict[str, type[CopyForm]] = {
    "method": CopyMethodForm,
    "procedure": CopyWashForm,
    "drying": CopyDryingForm,
}


@get_or_post
@role_required(Role.MANAGER)
def figure(request: HttpRequest, figure_id: int) -> HttpResponse:
    """One figure, what was said of it so far, and the form to hold it against the lab's copy of the standard."""
    found = get_object_or_404(Figure.objects.with_confirmations(), pk=figure_id)
    form = ConfirmForm(request.POST if request.method == "POST" else None, found)
    shown = request.POST.get("shown", "") if form.is_bound else found.stands
    if form.is_valid():
        try:
            done = services.confirm_figure(figure_id=found.pk, shown_value=shown, **form.cleaned_data, **_who(request))
        except Refusal as refusal:
            put_beside(form, refusal)
            if isinstance(refusal, StalePage):
                # What was typed stays; sent once more, it is a word on what this answer shows.
                found = Figure.objects.with_confirmations().get(pk=figure_id)
                shown = found.stands
        else:
            said = "is set" if done.overrides else "is confirmed"
            messages.success(request, f"{found.name[:1].upper()}{found.name[1:]} {said}: {done.value}.")
            return redirect(f"{_address(found.owner)}#figure-{found.pk}")
    context = {
        "figure": found,
        "form": form,
        "shown": shown,
        "row": queries.row_of(found.owner),
        "back": _address(found.owner),
        "entries": [queries.confirmation_told(said) for said in reversed(found.confirmations.all())],
    }
    return render(request, "methods/figure.html", context, status=NOT_SAVED if form.errors else 200)


@get_or_post
@role_required(Role.MANAGER)
def copy(request: HttpRequest, kind: str, code: str) -> HttpResponse:
    """A method, wash or drying of the lab's own after this one."""
    origin = _row(kind, code)
    form = COPY_FORMS[kind](request.POST if request.method == "POST" else None, origin)
    if form.is_valid():
        act = getattr(services, f"copy_{kind}")
        try:
            made = act(**{f"{kind}_id": origin.pk}, **form.names(), numbers=form.numbers(), **_who(request))
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{made} is in the catalogue and offered from now on.")
            return redirect(made.page, made.code)
    context = {"form": form, "row": origin, "kind": kind}
    return render(request, "methods/copy.html", context, status=NOT_SAVED if form.errors else 200)


@require_POST
@role_required(Role.MANAGER)
def retire(request: HttpRequest, kind: str, code: str) -> HttpResponse:
    row, form = _row(kind, code), RetireForm(request.POST)
    if form.is_valid():
        try:
            services.retire(owner=row.owner, **form.cleaned_data, **_who(request))
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{row} is offered no more.")
            return redirect(row.page, row.code)
    return row_page(request, row, retire_form=form)


@require_POST
@role_required(Role.MANAGER)
def take_back(request: HttpRequest, kind: str, code: str) -> HttpResponse:
    row = _row(kind, code)
    try:
        services.take_back(owner=row.owner, **_who(request))
    except Refusal as refusal:
        return row_page(request, row, refusal=str(refusal))
    messages.success(request, f"{row} is offered.")
    return redirect(row.page, row.code)


@require_POST
@role_required(Role.MANAGER)
def act_on_scope(request: HttpRequest, code: str) -> HttpResponse:
    """Within the accreditation, or outside it."""
    row, wanted = _row("method", code), request.POST.get("in_scope") == "yes"
    try:
        services.set_scope(method_id=row.pk, in_scope=wanted, **_who(request))
    except Refusal as refusal:
        return row_page(request, row, refusal=str(refusal))
    messages.success(request, f"{row} is {'within' if wanted else 'outside'} the accreditation.")
    return redirect(row.page, row.code)


def _row(kind: str, code: str) -> Catalogued:
    return get_object_or_404(KINDS[kind].objects.select_related("copied_from"), code=code)


def _who(request: HttpRequest) -> dict[str, Any]:
    return {"by": request.user, "at": clock.now(), "key": posted_key(request)}


def _address(owner: str) -> str:
    """The page of the row that a figure belongs to."""
    prefix, _, code = owner.partition(":")
    if prefix not in KINDS:
        return reverse("methods:points")
    return reverse(KINDS[prefix].page, args=[code])
