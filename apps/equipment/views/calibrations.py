from functools import partial

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted, posted_key
from apps.equipment import services
from apps.equipment.forms import CalibrationForm
from apps.equipment.models import Calibration, Equipment
from apps.equipment.views.common import void_page


@get_or_post
@role_required(Role.MANAGER)
def calibrate(request: HttpRequest, equipment_id: int) -> HttpResponse:
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    initial = {"done_on": timezone.localdate(clock.now())}
    form = CalibrationForm(posted(request), equipment=equipment, initial=initial)
    if form.is_valid():
        try:
            services.record_calibration(
                equipment_id=equipment.pk,
                finding=form.finding,
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"The calibration of {equipment} is recorded.")
            return redirect("equipment:page", equipment.pk)
    return render(request, "equipment/calibrate.html", {"equipment": equipment, "form": form})


@get_or_post
@role_required(Role.MANAGER)
def void_calibration(request: HttpRequest, calibration_id: int) -> HttpResponse:
    calibration = get_object_or_404(Calibration.objects.select_related("equipment"), pk=calibration_id)
    equipment = calibration.equipment
    return void_page(
        request,
        act=partial(services.void_calibration, calibration_id=calibration.pk),
        what=f"The calibration of {equipment} of {date_format(calibration.done_on, 'j M Y')}",
        effect="The one before it holds again, also for what was used since. The record stays in the book.",
        back=reverse("equipment:page", args=[equipment.pk]),
        crumb=str(equipment),
    )
