"""Labels of a job's samples and specimens."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES
from apps.accounts.queries import the_lab
from apps.core.labels import sheets
from apps.intake import queries
from apps.intake.forms.labels import JobLabels
from apps.intake.models import Job
from apps.intake.views.acting import NOT_SAVED


@require_safe
@role_required(*STAFF_ROLES)
def labels(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_labels(request.user), number=number)
    return _page(request, job, JobLabels(None, job, only=request.GET.get("sample", "")))


@require_safe
@role_required(*STAFF_ROLES)
def labels_pdf(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_labels(request.user), number=number)
    form = JobLabels(request.GET, job)
    if not form.is_valid():
        return _page(request, job, form)
    content = sheets(form.chosen, form.labels(), start=form.cleaned_data["start"], is_demo=the_lab().is_demo)
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(False, f"{job.number}-labels.pdf")
    return response


def _page(request: HttpRequest, job: Job, form: JobLabels) -> HttpResponse:
    return render(request, "intake/labels.html", {"job": job, "form": form}, status=NOT_SAVED if form.is_bound else 200)
