"""Work in hand, for whoever promises dates."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.control.forms import WorkForm
from apps.control.queries.work import COLUMNS, counted, work_in_hand, work_rows
from apps.core import clock
from apps.core.tables import table_file


@require_safe
@role_required(Role.FRONT_DESK, Role.MANAGER)
def work(request: HttpRequest) -> HttpResponse:
    look, today = WorkForm(request.GET, user=request.user), timezone.localdate(clock.now())
    page = Paginator(work_in_hand(user=request.user, **look.asked), 50).get_page(request.GET.get("page"))
    context = {"look": look, "page": page, "rows": list(work_rows(page, today=today)), "today": today}
    context["counted"] = counted(user=request.user, today=today)
    return render(request, "control/work.html", context)


@require_safe
@role_required(Role.FRONT_DESK, Role.MANAGER)
def work_table(request: HttpRequest, kind: str) -> HttpResponse:
    """All of it as a table to keep, asked for as on the page."""
    look, today = WorkForm(request.GET, user=request.user), timezone.localdate(clock.now())
    jobs = work_in_hand(user=request.user, **look.asked)
    rows = (row.cells for row in work_rows(jobs, today=today))
    return table_file(kind, f"work-in-hand-{today.isoformat()}", COLUMNS, rows)
