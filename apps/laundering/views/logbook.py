"""The log book, a day a page."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES
from apps.core import clock
from apps.laundering import queries
from apps.laundering.csvtext import logbook_csv
from apps.laundering.forms import DayForm


@require_safe
@role_required(*STAFF_ROLES)
def logbook(request: HttpRequest) -> HttpResponse:
    """The runs of a day, machine by machine; today's unless a day is asked for."""
    form, on, today = _asked(request)
    context = {"form": form, "day": queries.logbook(request.user, on), "today": today}
    return render(request, "laundering/logbook.html", context)


@require_safe
@role_required(*STAFF_ROLES)
def csv(request: HttpRequest) -> HttpResponse:
    """The same day as a table for a spreadsheet."""
    _, on, _ = _asked(request)
    text = logbook_csv(queries.logbook(request.user, on))
    response = HttpResponse(text.encode("utf-8-sig"), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="log-book-{on.isoformat()}.csv"'
    return response


def _asked(request: HttpRequest) -> tuple[DayForm, date, date]:
    today = timezone.localdate(clock.now())
    form = DayForm(request.GET if "day" in request.GET else {"day": today.isoformat()})
    return form, form.cleaned_data["day"] if form.is_valid() else today, today
