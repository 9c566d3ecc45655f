"""Which reports rest on this machine or instrument?"""

from datetime import date

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES
from apps.control.forms import SinceForm
from apps.control.queries import touched as queries
from apps.core.tables import table_file
from apps.equipment.models import Equipment

COLUMNS = ("job", "customer", "specimen", "method", "touched_by", "report", "issued", "report_state")
MOST_REPORTS = 50  # on the page, the newest; the file has all


@require_safe
@role_required(*STAFF_ROLES)
def page(request: HttpRequest, equipment_id: int) -> HttpResponse:
    """Everything tested with it since its last good calibration, or since a day that is chosen."""
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    form = SinceForm(request.GET)
    good = queries.good_calibrations(equipment)
    day = _day(form, good)
    use = queries.use_since(equipment, day)
    paged = Paginator(queries.specimens_touched(use), 50).get_page(request.GET.get("page"))
    reports = queries.reports_touched(use)
    context = {"equipment": equipment, "form": form, "good": good, "use": use, "day": day, "page": paged}
    context |= {"rows": queries.told(use, paged), "reports": reports[:MOST_REPORTS], "number": reports.count()}
    return render(request, "control/touched.html", context, status=200 if form.is_valid() else 422)


@require_safe
@role_required(*STAFF_ROLES)
def table(request: HttpRequest, equipment_id: int, kind: str) -> HttpResponse:
    """A line for each piece and report; a piece without a report has one line."""
    equipment = get_object_or_404(Equipment, pk=equipment_id)
    use = queries.use_since(equipment, _day(SinceForm(request.GET), queries.good_calibrations(equipment)))
    rows = [
        (
            *(row.specimen.request.sample.job.number, row.specimen.request.sample.job.customer.name),
            *(row.specimen.code, str(row.specimen.request.method), row.how),
            *(report.number if report else "", report.approved_at if report else None),
            queries.standing(report) if report else "",
        )
        for row in queries.told(use, queries.specimens_touched(use))
        for report in row.reports or [None]
    ]
    return table_file(kind, f"touched-{equipment.pk}", COLUMNS, rows)


def _day(form: SinceForm, good: list) -> date | None:
    if form.is_valid() and form.cleaned_data["since"]:
        return form.cleaned_data["since"]
    return good[0].done_on if good else None
