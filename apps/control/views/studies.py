"""Studies of repeated readings: planned, read blind, reckoned, adopted."""

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.control.forms import SheetForm, StudyForm
from apps.control.models import Study, StudyReading
from apps.control.queries.studies import StudyWhole, study_list, study_whole
from apps.control.services import studies as services
from apps.control.views.common import act
from apps.core.act_form import ActForm, ReasonForm
from apps.core.posting import get_or_post, posted
from apps.core.tables import table_file

READING_COLUMNS = ("study", "method", "direction", "piece", "person", "reading", "read", "unit", "value", "read_at")
READING_COLUMNS += ("in_force", "void_reason")
STUDY_COLUMNS = ("study", "planned", "method", "direction", "unit", "trials", "readings", "readings_planned")
STUDY_COLUMNS += ("adopted_percent", "adopted_at")


@require_safe
@role_required(*STAFF_ROLES)
def studies(request: HttpRequest) -> HttpResponse:
    page = Paginator(study_list(), 50).get_page(request.GET.get("page"))
    return render(request, "control/studies.html", {"page": page, "may_edit": Role.MANAGER in request.user.roles})


@require_safe
@role_required(*STAFF_ROLES)
def all_studies(request: HttpRequest, kind: str) -> HttpResponse:
    """Every study in a row as a table to keep."""
    rows = (
        (
            *(row.pk, row.at, str(row.method), row.direction, row.unit, row.trials, row.read, row.planned_readings),
            *(row.adopted_percent, row.adopted_at),
        )
        for row in study_list()
    )
    return table_file(kind, "studies", STUDY_COLUMNS, rows)


@get_or_post
@role_required(Role.MANAGER)
def plan(request: HttpRequest) -> HttpResponse:
    form = StudyForm(posted(request))
    if form.is_valid() and (study := act(request, form, services.plan_study, **form.plan)):
        messages.success(request, f"{study} is planned. Its people find their sheet on its page.")
        return redirect("control:study", study.pk)
    return render(request, "control/study_new.html", {"form": form})


@require_safe
@role_required(*STAFF_ROLES)
def study(request: HttpRequest, study_id: int) -> HttpResponse:
    return _page(request, study_whole(_study(study_id)), ActForm())


@require_safe
@role_required(*STAFF_ROLES)
def readings(request: HttpRequest, study_id: int, kind: str) -> HttpResponse:
    """Every reading as a table to keep, once it may be seen."""
    whole = study_whole(_study(study_id))
    if not whole.may_see(request.user):
        messages.warning(request, "First read your own pieces: the table holds what the others read.")
        return redirect("control:study", study_id)
    one = whole.study
    rows = [
        (
            *(one.pk, str(one.method), one.direction, row.piece.name, row.by.full_name, row.trial, row.text),
            *(one.get_unit_display(), row.value.normalize(), row.at, "no" if row.voided_at else "yes"),
            row.void_reason,
        )
        for row in [*whole.readings, *whole.voided]
    ]
    return table_file(kind, f"study-{one.pk}", READING_COLUMNS, rows)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def read(request: HttpRequest, study_id: int) -> HttpResponse:
    """One person's own sheet; nobody else's readings are on it."""
    whole = study_whole(_study(study_id))
    form = SheetForm(posted(request), whole=whole, person=request.user)
    if form.is_valid() and (rows := act(request, form, services.read_pieces, study_id=study_id, typed=form.typed)):
        messages.success(request, f"{len(rows)} reading{'' if len(rows) == 1 else 's'} kept.")
        return redirect("control:study", study_id)
    context = {"form": form, "study": whole.study, "trials": range(1, whole.study.trials + 1)}
    context["reads"] = whole.is_reader(request.user)
    return render(request, "control/study_read.html", context)


@require_POST
@role_required(Role.MANAGER)
def adopt(request: HttpRequest, study_id: int) -> HttpResponse:
    one, form = _study(study_id), ActForm(request.POST)
    if form.is_valid() and act(request, form, services.adopt_study, study_id=study_id):
        messages.success(request, f"Results by {one.method} reckon with it from now on.")
        return redirect("control:study", study_id)
    return _page(request, study_whole(one), form)


@get_or_post
@role_required(Role.MANAGER)
def void(request: HttpRequest, entry_id: int) -> HttpResponse:
    rows = StudyReading.objects.select_related("piece__study__method", "by")
    entry = get_object_or_404(rows, pk=entry_id)
    form = ReasonForm(posted(request))
    one = entry.piece.study
    if form.is_valid() and act(
        request, form, services.void_study_reading, entry_id=entry_id, reason=form.cleaned_data["reason"]
    ):
        messages.success(request, f"Void: {entry.piece}, read by {entry.by}.")
        return redirect("control:study", one.pk)
    return render(request, "control/study_void.html", {"form": form, "entry": entry, "study": one})


def _page(request: HttpRequest, whole: StudyWhole, form: ActForm) -> HttpResponse:
    reads = whole.is_reader(request.user)
    context: dict[str, Any] = {"whole": whole, "study": whole.study, "form": form}
    context |= {"sees": whole.may_see(request.user), "may_edit": Role.MANAGER in request.user.roles}
    context["owes"] = reads and not whole.adopted and whole.expected - whole.read_by(request.user)
    return render(request, "control/study.html", context, status=422 if form.errors else 200)


def _study(study_id: int) -> Study:
    return get_object_or_404(Study.objects.select_related("method", "by"), pk=study_id)
