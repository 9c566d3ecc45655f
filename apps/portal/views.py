from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.portal import queries

PER_PAGE = 50


@require_safe
@role_required(Role.CUSTOMER)
def jobs(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.own_jobs(request.user), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "portal/jobs.html", {"page": page, "rows": queries.seen_by(request.user, page.object_list)})


@require_safe
@role_required(Role.CUSTOMER)
def job(request: HttpRequest, number: str) -> HttpResponse:
    """One job: its samples and how far each test is; results only of what is reported."""
    found = get_object_or_404(queries.own_jobs(request.user), number=number)
    (own,) = queries.seen_by(request.user, [found], with_facts=True)
    return render(request, "portal/job.html", {"own": own, "job": found})
