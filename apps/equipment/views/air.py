from datetime import datetime, timedelta
from functools import partial

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted, posted_key
from apps.equipment import services
from apps.equipment.air import words
from apps.equipment.figures import plain
from apps.equipment.forms import ReadingForm, ShowForm, ToleranceForm
from apps.equipment.models import AtmosphereReading, Equipment
from apps.equipment.queries import rule_at, state_at
from apps.equipment.queries.air_page import DAY, AirPage, air_page
from apps.equipment.queries.machines import air_instruments
from apps.equipment.queries.room_air import of_day
from apps.equipment.views.common import void_page


def room_or_404(room_id: int) -> Equipment:
    return get_object_or_404(Equipment, pk=room_id, kind=Equipment.Kind.ROOM)


@require_safe
@role_required(*STAFF_ROLES)
def atmosphere(request: HttpRequest, room_id: int) -> HttpResponse:
    return atmosphere_of(request, room_or_404(room_id))


@require_POST
@role_required(Role.BENCH, Role.MANAGER)
def log(request: HttpRequest, room_id: int) -> HttpResponse:
    """Two numbers and Enter."""
    room = room_or_404(room_id)
    form = reading_form(clock.now(), request.POST)
    if form.is_valid():
        at, instrument = form.cleaned_data["when"] or clock.now(), form.cleaned_data["instrument"]
        try:
            reading = services.log_atmosphere(
                room_id=room.pk,
                temperature=form.cleaned_data["temperature"],
                humidity=form.cleaned_data["humidity"],
                instrument_id=instrument.pk if instrument else None,
                by=request.user,
                at=at,
                key=posted_key(request),
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            say(request, reading, instrument)
            return redirect("equipment:atmosphere", room.pk)
    return atmosphere_of(request, room, form)


def say(request: HttpRequest, reading: AtmosphereReading, instrument: Equipment | None) -> None:
    """What is logged, and what somebody should know about it."""
    told = f"{plain(reading.temperature_c)} °C and {plain(reading.humidity_pct)} % RH are logged."
    band = rule_at(reading.room, reading.at).band
    if band.holds(reading.air):
        messages.success(request, told)
    else:
        messages.warning(
            request, f"{told} That is outside of {words(band)}: see to the air before anything is measured."
        )
    if instrument and (sentence := state_at(instrument, reading.at).overdue_sentence):
        messages.warning(request, sentence)


@get_or_post
@role_required(Role.MANAGER)
def tolerance(request: HttpRequest, room_id: int) -> HttpResponse:
    room = room_or_404(room_id)
    rule = rule_at(room, clock.now())
    form = ToleranceForm(posted(request), initial=ToleranceForm.shown(rule))
    if form.is_valid():
        try:
            services.set_tolerance(
                room_id=room.pk, limits=form.limits, by=request.user, at=clock.now(), key=posted_key(request)
            )
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"The air of {room} is held against this from now on.")
            return redirect("equipment:atmosphere", room.pk)
    return render(request, "equipment/tolerance.html", {"room": room, "form": form, "rule": rule})


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def void_reading(request: HttpRequest, reading_id: int) -> HttpResponse:
    reading = get_object_or_404(AtmosphereReading.objects.select_related("room"), pk=reading_id)
    local = timezone.localtime(reading.at)
    when = date_format(local, "j M Y, H:i:s" if local.second else "j M Y, H:i")
    figures = f"{plain(reading.temperature_c)} °C, {plain(reading.humidity_pct)} %"
    return void_page(
        request,
        act=partial(services.void_reading, reading_id=reading.pk),
        what=f"The reading of {when} ({figures})",
        effect="It counts no more and stays in the book; its moment may be read anew.",
        back=f"{reverse('equipment:atmosphere', args=[reading.room_id])}?view=day&on={local.date().isoformat()}",
        crumb=f"Air of {reading.room}",
    )


def atmosphere_of(request: HttpRequest, room: Equipment, form: ReadingForm | None = None) -> HttpResponse:
    """The page of a room's air, today's unless another day is asked for."""
    now = clock.now()
    show = ShowForm(request.GET)
    asked = show.cleaned_data if show.is_valid() else {}
    whole = air_page(
        room,
        view=asked.get("view") or DAY,
        on=asked.get("on") or timezone.localdate(now),
        against=asked.get("against") or "",
        now=now,
    )
    may_log = bool(request.user.roles & {Role.BENCH, Role.MANAGER})
    context = {
        "room": room,
        "air": whole,
        "before": whole.before.isoformat(),
        "after": whole.after.isoformat(),
        "show": show,
        "form": (form or reading_form(now, last=whole)) if may_log else None,
        "may_log": may_log,
        "may_edit": Role.MANAGER in request.user.roles,
        "page": readings_page(request, room, whole),
    }
    return render(request, "equipment/atmosphere.html", context)


def readings_page(request: HttpRequest, room: Equipment, whole: AirPage):
    """The single readings, on the page of a day only."""
    if whole.view != DAY:
        return None
    page = Paginator(of_day(room, whole.since, whole.until), 50).get_page(request.GET.get("page"))
    late = timedelta(hours=the_lab().late_entry_hours)
    for reading in page:
        reading.late = reading.batch is None and reading.recorded_at - reading.at > late
    return page


def reading_form(now: datetime, data: dict | None = None, last: AirPage | None = None) -> ReadingForm:
    """With the instrument that was used last."""
    instruments = air_instruments(timezone.localdate(now))
    read = last.now.last if last else None
    initial = {"instrument": read.instrument_id} if read else {}
    return ReadingForm(data, instruments=instruments, initial=initial)
