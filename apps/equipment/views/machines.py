from datetime import date

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.act_form import ActForm
from apps.core.errors import Refusal, StalePage
from apps.core.posting import get_or_post, posted, posted_key
from apps.core.tables import table_file
from apps.equipment import queries, services
from apps.equipment.csvtext import COLUMNS, calendar_rows
from apps.equipment.forms import DetailsForm, NewEquipmentForm, OutOfServiceForm, ReturnForm
from apps.equipment.models import Equipment
from apps.equipment.queries.due import GROUPS
from apps.equipment.queries.machines import equipment_page, rooms_now
from apps.equipment.views.common import posted_number


def today() -> date:
    return timezone.localdate(clock.now())


@require_safe
@role_required(*STAFF_ROLES)
def equipment_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.equipment_list(on=today()), 50).get_page(request.GET.get("page"))
    context = {"page": page, "rooms_now": rooms_now(clock.now()), "may_edit": Role.MANAGER in request.user.roles}
    return render(request, "equipment/list.html", context)


@require_safe
@role_required(*STAFF_ROLES)
def calendar(request: HttpRequest) -> HttpResponse:
    """What falls due, the most urgent first."""
    page = Paginator(queries.calendar(on=today()), 50).get_page(request.GET.get("page"))
    for equipment in page:
        equipment.heading = GROUPS[equipment.group]
        equipment.days = (equipment.due_on - today()).days if equipment.due_on else None
    return render(request, "equipment/calendar.html", {"page": page, "today": today()})


@require_safe
@role_required(*STAFF_ROLES)
def calendar_as_csv(request: HttpRequest) -> HttpResponse:
    rows = calendar_rows(queries.calendar(on=today()))
    return table_file("csv", f"calibration-calendar-{today().isoformat()}", COLUMNS, rows)


@get_or_post
@role_required(Role.MANAGER)
def new(request: HttpRequest) -> HttpResponse:
    form = NewEquipmentForm(posted(request))
    if form.is_valid():
        try:
            added = services.add_equipment(
                kind=form.cleaned_data["kind"],
                details=form.details,
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{added} is in the list of equipment.")
            return redirect("equipment:page", added.pk)
    return render(request, "equipment/new.html", {"form": form})


@require_safe
@role_required(*STAFF_ROLES)
def page(request: HttpRequest, equipment_id: int) -> HttpResponse:
    return page_of(request, get_object_or_404(Equipment, pk=equipment_id))


@get_or_post
@role_required(Role.MANAGER)
def change(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = DetailsForm(posted(request), initial=details_of(equipment))
    shown = posted_number(request, "version") if form.is_bound else equipment.version
    if form.is_valid():
        try:
            services.change_equipment(
                equipment_id=equipment.pk,
                version=shown,
                details=form.details,
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except StalePage as refusal:
            # What was typed stays; sent once more, it is a change to what this answer tells.
            form.put_beside(refusal)
            shown = Equipment.objects.get(pk=equipment.pk).version
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{form.cleaned_data['name']} is saved.")
            return redirect("equipment:page", equipment.pk)
    return render(request, "equipment/change.html", {"equipment": equipment, "form": form, "version": shown})


@require_POST
@role_required(Role.BENCH, Role.LAUNDRY, Role.MANAGER)
def out_of_service(request: HttpRequest, equipment_id: int) -> HttpResponse:
    """Whoever sees that it is not in order, at night too."""
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = OutOfServiceForm(request.POST)
    if form.is_valid():
        try:
            services.put_out_of_service(
                equipment_id=equipment.pk,
                reason=form.cleaned_data["reason"],
                by=request.user,
                at=form.cleaned_data["when"] or clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{equipment} is out of service.")
            return redirect("equipment:page", equipment.pk)
    return page_of(request, equipment, form)


@require_POST
@role_required(Role.MANAGER)
def return_to_service(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = ReturnForm(request.POST)
    if form.is_valid():
        try:
            services.return_to_service(
                equipment_id=equipment.pk,
                checked=form.cleaned_data["checked"],
                period_id=posted_number(request, "period"),
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{equipment} is in service again.")
            return redirect("equipment:page", equipment.pk)
    return page_of(request, equipment, form)


def page_of(request: HttpRequest, equipment: Equipment, service_form: ActForm | None = None) -> HttpResponse:
    """The page of one piece of equipment, with whichever of its forms came back."""
    whole = equipment_page(equipment, clock.now())
    page = Paginator(queries.history(equipment), 50).get_page(request.GET.get("page"))
    roles = request.user.roles
    context = {
        "equipment": equipment,
        "whole": whole,
        "service_form": service_form or (ReturnForm() if whole.state.out else OutOfServiceForm()),
        "may_edit": Role.MANAGER in roles,
        "may_put_out": bool(roles & {Role.BENCH, Role.LAUNDRY, Role.MANAGER}),
        "page": page,
        "entries": [queries.told(entry) for entry in page],
    }
    return render(request, "equipment/page.html", context)


def details_of(equipment: Equipment) -> dict:
    return {name: getattr(equipment, name) for name in DetailsForm.base_fields}
