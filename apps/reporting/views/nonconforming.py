"""Nonconforming work and complaints: what was found, and what was done about it."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.posting import get_or_post, posted, posted_key
from apps.reporting import queries, services
from apps.reporting.forms import NonconformityForm, NoteForm
from apps.reporting.models import Nonconformity
from apps.reporting.views.common import NOT_SAVED, PER_PAGE, carried_out


@require_safe
@role_required(*STAFF_ROLES)
def records(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.nonconformities(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "reporting/nonconforming.html", {"page": page})


@get_or_post
@role_required(*STAFF_ROLES)
def new(request: HttpRequest) -> HttpResponse:
    form = NonconformityForm(posted(request), initial={"jobs": request.GET.get("job", "")[:20]})
    said = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
    made: list[Nonconformity] = []
    if carried_out(form, lambda: made.append(services.record_nonconformity(**form.cleaned_data, **said))):
        messages.success(request, f"Record {made[0].pk} is opened.")
        return redirect("reporting:nonconformity", made[0].pk)
    context = {"form": form}
    return render(request, "reporting/nonconformity_new.html", context, status=NOT_SAVED if form.is_bound else 200)


@get_or_post
@role_required(Role.MANAGER)
def record(request: HttpRequest, record_id: int) -> HttpResponse:
    row = get_object_or_404(queries.nonconformities(), pk=record_id)
    form = NoteForm(posted(request))
    said = {"nonconformity_id": row.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: services.note_nonconformity(**form.cleaned_data, **said)):
        messages.success(request, "Added.")
        return redirect("reporting:nonconformity", row.pk)
    context = {"row": row, "form": form, "notes": row.notes.select_related("by")}
    return render(request, "reporting/nonconformity.html", context, status=NOT_SAVED if form.is_bound else 200)
