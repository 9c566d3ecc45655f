from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES
from apps.methods import queries
from apps.methods.models import TestMethod


@require_safe
@role_required(*STAFF_ROLES)
def method_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.method_list(), 50).get_page(request.GET.get("page"))
    return render(request, "methods/list.html", {"page": page})


@require_safe
@role_required(*STAFF_ROLES)
def method(request: HttpRequest, code: str) -> HttpResponse:
    """One edition whole: its figures, the washes and dryings that go with it, and where each number comes from."""
    found = get_object_or_404(TestMethod, code=code)
    return render(request, "methods/method.html", {"method": found, "whole": queries.method_whole(found)})
