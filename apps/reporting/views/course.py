"""A request that takes another course: tested anew, fewer or more cycles, cancelled; results of other laboratories."""

from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.posting import posted_key
from apps.intake.models import Request
from apps.reporting import services
from apps.reporting.forms import CancelForm, CyclesForm, ExternalForm, RetestForm, VoidForm
from apps.reporting.models import ExternalResult
from apps.reporting.views.common import NOT_SAVED, carried_out

DESK = (Role.FRONT_DESK, Role.MANAGER)


def the_request(request: HttpRequest, request_id: int) -> Request:
    rows = Request.objects.visible_to(request.user).select_related(
        *("sample__job", "method", "procedure", "drying", "cancellation__by", "retest__first__sample")
    )
    return get_object_or_404(rows, pk=request_id)


def _page(request: HttpRequest, row: Request, **failed) -> HttpResponse:
    """The request with all that may be done; a form that was not carried out stands in its place."""
    forms = {
        "cycles": CyclesForm(initial={"shown": row.cycles, "cycles": row.cycles}, auto_id="cycles-%s"),
        "retest": RetestForm(auto_id="retest-%s"),
        "cancel": CancelForm(auto_id="cancel-%s"),
        "external": ExternalForm(auto_id="external-%s"),
    }
    context = {
        "row": row,
        "specimens": row.specimens.order_by("number"),
        "retests": row.retests.select_related("request__sample"),
        "results": ExternalResult.objects.filter(sample=row.sample).select_related("by", "voided_by").order_by("pk"),
        "void": VoidForm(auto_id="void-%s"),
        **forms,
        **failed,
    }
    return render(request, "reporting/course.html", context, status=NOT_SAVED if failed else 200)


@require_safe
@role_required(*DESK)
def course(request: HttpRequest, request_id: int) -> HttpResponse:
    return _page(request, the_request(request, request_id))


def _done(request: HttpRequest, row: Request, name: str, form, act: Callable[..., object], told: str) -> HttpResponse:
    said = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: act(**said)):
        messages.success(request, told)
        return redirect("reporting:course", row.pk)
    return _page(request, row, **{name: form})


@require_POST
@role_required(*DESK)
def cycles(request: HttpRequest, request_id: int) -> HttpResponse:
    row, form = the_request(request, request_id), CyclesForm(request.POST, auto_id="cycles-%s")

    def act(**said):
        return services.change_cycles(request_id=row.pk, **form.cleaned_data, **said)

    return _done(request, row, "cycles", form, act, "The number of cycles is changed, and disclosed.")


@require_POST
@role_required(*DESK)
def retest(request: HttpRequest, request_id: int) -> HttpResponse:
    row, form = the_request(request, request_id), RetestForm(request.POST, auto_id="retest-%s")

    def act(**said):
        return services.order_retest(request_id=row.pk, **form.cleaned_data, **said)

    return _done(request, row, "retest", form, act, "The retest is ordered. Its specimens are to be cut.")


@require_POST
@role_required(*DESK)
def cancel(request: HttpRequest, request_id: int) -> HttpResponse:
    row, form = the_request(request, request_id), CancelForm(request.POST, auto_id="cancel-%s")

    def act(**said):
        return services.cancel_requests(request_id=row.pk, **form.cleaned_data, **said)

    return _done(request, row, "cancel", form, act, "Cancelled. What was done stays in the book.")


@require_POST
@role_required(*DESK)
def external(request: HttpRequest, request_id: int) -> HttpResponse:
    row = the_request(request, request_id)
    form = ExternalForm(request.POST, request.FILES, auto_id="external-%s")

    def act(**said):
        said_of_it = dict(form.cleaned_data)
        file = said_of_it.pop("file")
        details = services.ExternalDetails(**said_of_it)
        content = file.read() if file else None
        return services.add_external_result(sample_id=row.sample_id, details=details, file=content, **said)

    return _done(request, row, "external", form, act, "Reports to come print it, marked as the other laboratory's.")


@require_POST
@role_required(*DESK)
def void_external(request: HttpRequest, request_id: int, result_id: int) -> HttpResponse:
    row, form = the_request(request, request_id), VoidForm(request.POST, auto_id="void-%s")
    result = get_object_or_404(ExternalResult, pk=result_id, sample=row.sample)

    def act(**said):
        return services.void_external_result(result_id=result.pk, **form.cleaned_data, **said)

    return _done(request, row, "void", form, act, "It is printed no more.")
