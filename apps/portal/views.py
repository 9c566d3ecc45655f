from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.intake.queries import announced
from apps.portal import bundle as bundles
from apps.portal import queries

PER_PAGE = 50


def _page(request: HttpRequest, rows):
    return Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))


def _typed(request: HttpRequest, name: str) -> str:
    return request.GET.get(name, "").replace("\0", "").strip()[:80]


@require_safe
@role_required(Role.CUSTOMER)
def jobs(request: HttpRequest) -> HttpResponse:
    part, show = _typed(request, "q"), "open" if request.GET.get("show") == "open" else "all"
    page = _page(request, queries.found(request.user, part=part, only_open=show == "open"))
    rows = queries.seen_by(request.user, page.object_list)
    context = {"page": page, "rows": rows, "q": part, "show": show}
    context["announced"] = Paginator(announced(request.user), PER_PAGE).get_page(1)
    context["any_job"] = bool(rows) or queries.own_jobs(request.user).exists()
    return render(request, "portal/jobs.html", context)


@require_safe
@role_required(Role.CUSTOMER)
def job(request: HttpRequest, number: str) -> HttpResponse:
    """One job: its samples and how far each test is; results only of what is reported."""
    found = get_object_or_404(queries.own_jobs(request.user), number=number)
    (own,) = queries.seen_by(request.user, [found], with_facts=True)
    return render(request, "portal/job.html", {"own": own, "job": found})


@require_safe
@role_required(Role.CUSTOMER)
def reports(request: HttpRequest) -> HttpResponse:
    """All that was issued to the company, newest first, to be downloaded singly or together."""
    part = _typed(request, "q")
    page = _page(request, queries.own_reports(request.user, part))
    return render(request, "portal/reports.html", {"page": page, "rows": queries.issued(page), "q": part})


@require_POST
@role_required(Role.CUSTOMER)
def bundle(request: HttpRequest) -> HttpResponseBase:
    """The chosen reports as one ZIP. What is not the company's own is left out as if it were not there."""
    members = queries.members(request.user, request.POST.getlist("report")[:PER_PAGE])
    if not members:
        messages.error(request, "Tick the reports to download.")
        return redirect("portal:reports")
    answer = StreamingHttpResponse(bundles.stream(members), content_type="application/zip")
    name = f"reports-{timezone.localtime(clock.now()):%Y-%m-%d-%H%M}.zip"
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Content-Length"] = str(bundles.length(members))
    return answer
