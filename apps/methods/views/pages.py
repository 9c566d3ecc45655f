"""The catalogue to read: lists, and each row whole with its figures and where they come from."""

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.methods import queries
from apps.methods.forms import RetireForm
from apps.methods.models import DryingProcedure, ExtraMeasurement, LaunderingProcedure, TestMethod
from apps.methods.queries import Catalogued

NOT_SAVED = 422


@require_safe
@role_required(*STAFF_ROLES)
def method_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.method_list(), 50).get_page(request.GET.get("page"))
    return render(request, "methods/list.html", {"page": page, "extras": queries.extra_list()})


@require_safe
@role_required(*STAFF_ROLES)
def wash_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.wash_list(), 50).get_page(request.GET.get("page"))
    return render(request, "methods/washes.html", {"page": page})


@require_safe
@role_required(*STAFF_ROLES)
def drying_list(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.drying_list(), 50).get_page(request.GET.get("page"))
    return render(request, "methods/dryings.html", {"page": page})


@require_safe
@role_required(*STAFF_ROLES)
def points(request: HttpRequest) -> HttpResponse:
    """Where garments are measured."""
    context = {"garments": queries.all_points(), "practice": queries.measuring_practice(), "may_set": may_set(request)}
    return render(request, "methods/points.html", context)


@require_safe
@role_required(*STAFF_ROLES)
def method(request: HttpRequest, code: str) -> HttpResponse:
    """One edition whole: its figures, the washes and dryings that go with it, and where each number comes from."""
    return row_page(request, get_object_or_404(TestMethod.objects.select_related("copied_from"), code=code))


@require_safe
@role_required(*STAFF_ROLES)
def wash(request: HttpRequest, code: str) -> HttpResponse:
    return row_page(request, get_object_or_404(LaunderingProcedure.objects.select_related("copied_from"), code=code))


@require_safe
@role_required(*STAFF_ROLES)
def drying(request: HttpRequest, code: str) -> HttpResponse:
    return row_page(request, get_object_or_404(DryingProcedure.objects.select_related("copied_from"), code=code))


@require_safe
@role_required(*STAFF_ROLES)
def extra(request: HttpRequest, code: str) -> HttpResponse:
    """An extra measurement on the same specimens: its formula, its marks, and the methods it goes with."""
    rows = ExtraMeasurement.objects.select_related("copied_from").prefetch_related("methods")
    return row_page(request, get_object_or_404(rows, code=code))


def may_set(request: HttpRequest) -> bool:
    """Whether the page offers what is the manager's to say."""
    return Role.MANAGER in request.user.roles


def row_page(request: HttpRequest, row: Catalogued, **sent: Any) -> HttpResponse:
    """The page of a row of the catalogue; a form that was sent and not carried out stands in for the empty one."""
    context: dict[str, Any] = {"row": row, "may_set": may_set(request), "retire_form": RetireForm(), **sent}
    if isinstance(row, TestMethod):
        context["whole"] = queries.method_whole(row)
        context["sheet"] = context["whole"].sheet
    else:
        context["sheet"] = queries.sheet(row)
    context["missing_words"] = f"Not known: {', '.join(row.missing)}. Set these from the lab's own copy, or in a copy."
    word = row.page.partition(":")[2]
    for act in ("retire", "take_back") if word == "extra" else ("retire", "take_back", "copy"):
        context[f"{act}_address"] = reverse(f"methods:{act}_{word}", args=[row.code])
    page = Paginator(queries.history(row), 20).get_page(request.GET.get("page"))
    context |= {"page": page, "entries": [queries.told(entry) for entry in page]}
    return render(request, f"methods/{word}.html", context, status=NOT_SAVED if sent else 200)
