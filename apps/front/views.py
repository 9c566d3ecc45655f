import sys
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db import InterfaceError, OperationalError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template import loader
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from apps.accounts.gates import open_to_all, role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.front import queries, wording
from apps.front.doors import address
from apps.intake.models import Job
from apps.trail import guarding
from apps.trail.queries import timeline


def broken(request: HttpRequest) -> HttpResponse:
    """What people see when something broke. Of a database that is gone, busy or full: that they may send it again."""
    gone = isinstance(sys.exc_info()[1], OperationalError | InterfaceError)
    page = loader.get_template("503.html" if gone else "500.html").render()
    answer = HttpResponse(page, status=503 if gone else 500)
    if gone:
        answer["Retry-After"] = "10"
    return answer


@require_safe
@role_required(*Role)
def home(request: HttpRequest) -> HttpResponse:
    return redirect(next(name for role, name in queries.LANDING.items() if role in request.user.roles))


@require_safe
@role_required(*Role)
def job(request: HttpRequest, number: str) -> HttpResponse:
    """One job through all rooms. The lab's page; a customer's person is shown the own side of it."""
    if request.user.customer_id is not None:
        found = get_object_or_404(Job.objects.visible_to(request.user), number=number)
        return redirect("portal:job", number=found.number)
    found = get_object_or_404(queries.job_with_everything(request.user), number=number)
    page = Paginator(timeline(found.stream), 50).get_page(request.GET.get("page"))
    entries = wording.lines(page)
    may = {
        "may_cut": bool(request.user.roles & {Role.BENCH, Role.MANAGER}),
        "may_review": Role.MANAGER in request.user.roles,
        "may_order": bool(request.user.roles & {Role.FRONT_DESK, Role.MANAGER}),
    }
    return render(request, "front/job.html", {"job": found, "page": page, "entries": entries, **may})


@require_safe
@role_required(*STAFF_ROLES)
def scan(request: HttpRequest) -> HttpResponse:
    """Scanned or typed: one exact match opens at once, several are shown, a slip says what it may have meant."""
    text = request.GET.get("q", "").replace("\x00", "").strip()[:200]
    came_from = request.headers.get("referer", "")
    found = queries.resolve_code(request.user, text)
    found = [item for item in found if item.kind == request.GET.get("kind")] or found
    if len(found) == 1:
        return redirect(address(found[0], request.user, came_from))
    found = found or queries.search(request.user, text)
    slip = "" if found else queries.slip(text)
    if slip:
        found = queries.near(request.user, text)
    rows = [(item, f"{reverse('front:scan')}?{urlencode(item.asked)}") for item in found]
    return render(request, "front/scan.html", {"text": text, "rows": rows, "slip": slip})


@require_safe
@never_cache
@open_to_all
def health(request: HttpRequest) -> HttpResponse:
    """For the machine that watches: the database answers and its guards stand."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    missing = guarding.missing_triggers()
    return JsonResponse({"database": "ok", "guards": "missing" if missing else "ok"}, status=503 if missing else 200)
