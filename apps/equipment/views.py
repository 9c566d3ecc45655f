from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.equipment import queries, services
from apps.equipment.forms import DetailsForm, NewEquipmentForm, OutOfServiceForm, ReturnForm
from apps.equipment.models import Equipment


@require_safe
@role_required(*STAFF_ROLES)
def equipment_list(request: HttpRequest) -> HttpResponse:
    everything = queries.equipment_list(on=timezone.localdate(clock.now()))
    page = Paginator(everything, 50).get_page(request.GET.get("page"))
    return render(request, "equipment/list.html", {"page": page, "may_edit": Role.MANAGER in request.user.roles})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.MANAGER)
def new(request: HttpRequest) -> HttpResponse:
    form = NewEquipmentForm(posted(request))
    if form.is_valid():
        try:
            added = services.add_equipment(
                **form.cleaned_data, by=request.user, at=clock.now(), key=posted_key(request)
            )
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{added} is in the list of equipment.")
            return redirect("equipment:list")
    return render(request, "equipment/new.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.MANAGER)
def edit(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = DetailsForm(posted(request), initial=details_of(equipment))
    shown = posted_version(request) if form.is_bound else equipment.version
    if form.is_valid():
        try:
            services.change_equipment(
                equipment_id=equipment.pk,
                version=shown,
                **form.cleaned_data,
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except StalePage as refusal:
            # What was typed stays; sent once more, it is a change to what this answer tells.
            put_beside(form, refusal)
            shown = equipment.version
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{equipment} is saved.")
            return redirect("equipment:edit", equipment.pk)
    return page_of(request, equipment, form=form, version=shown)


@require_POST
@role_required(Role.MANAGER)
def out_of_service(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = OutOfServiceForm(request.POST)
    if form.is_valid():
        try:
            services.put_out_of_service(
                equipment_id=equipment.pk, **form.cleaned_data, by=request.user, at=clock.now(), key=posted_key(request)
            )
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{equipment} is out of service.")
            return redirect("equipment:edit", equipment.pk)
    return page_of(request, equipment, service_form=form)


@require_POST
@role_required(Role.MANAGER)
def return_to_service(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = ReturnForm(request.POST)
    if form.is_valid():
        try:
            services.return_to_service(
                equipment_id=equipment.pk,
                **form.cleaned_data,
                version=posted_version(request),
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            put_beside(form, refusal)
        else:
            messages.success(request, f"{equipment} is in service again.")
            return redirect("equipment:edit", equipment.pk)
    return page_of(request, equipment, service_form=form)


def page_of(
    request: HttpRequest,
    equipment: Equipment,
    *,
    form: DetailsForm | None = None,
    version: int | None = None,
    service_form: forms.Form | None = None,
) -> HttpResponse:
    """The page of one piece of equipment, with whichever of its forms came back."""
    form = form or DetailsForm(initial=details_of(equipment))
    service_form = service_form or (OutOfServiceForm() if equipment.in_service else ReturnForm())
    page = Paginator(queries.history(equipment), 50).get_page(request.GET.get("page"))
    context = {
        "equipment": equipment,
        "form": form,
        "version": equipment.version if version is None else version,
        "service_form": service_form,
        "overdue": equipment.overdue(timezone.localdate(clock.now())),
        "page": page,
        "entries": [queries.told(entry) for entry in page],
    }
    return render(request, "equipment/edit.html", context)


def details_of(equipment: Equipment) -> dict:
    return {name: getattr(equipment, name) for name in DetailsForm.base_fields}


def put_beside(form: forms.Form, refusal: Refusal) -> None:
    form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))


def posted(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None


def posted_key(request: HttpRequest) -> UUID | None:
    """The act's own key; a page without one, or with a broken one, is taken as sent once."""
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


def posted_version(request: HttpRequest) -> int:
    """What the page says it showed. Anything else than a small whole number is no page of ours: 0, which is stale."""
    text = request.POST.get("version", "")
    return int(text) if text.isdecimal() and len(text) < 10 else 0
