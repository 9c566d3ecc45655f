"""After issue: a report is opened for one thing, closed again, or withdrawn."""

from collections.abc import Callable

from django.contrib import messages
from django.forms import Form
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.posting import get_or_post, posted, posted_key
from apps.reporting import queries, services
from apps.reporting.forms import AmendForm, CloseAmendmentForm, WithdrawForm
from apps.reporting.views.common import NOT_SAVED, carried_out, the_report


def _page(
    request: HttpRequest, number: str, form: Form, service: Callable[..., object], template: str, told: str
) -> HttpResponse:
    issued = queries.Issued(the_report(request, number))
    said = {"report_id": issued.report.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: service(**form.cleaned_data, **said)):
        messages.success(request, told.format(issued.report.number))
        return redirect("reporting:report", issued.report.number)
    context = {"form": form, "issued": issued, "report": issued.report, "facts": issued.facts}
    return render(request, template, context, status=NOT_SAVED if form.is_bound else 200)


@get_or_post
@role_required(Role.MANAGER)
def amend(request: HttpRequest, number: str) -> HttpResponse:
    told = "Report {} is opened. When the correction is made, its revision waits on the approvals page."
    form = AmendForm(posted(request))
    return _page(request, number, form, services.open_amendment, "reporting/amend.html", told)


@get_or_post
@role_required(Role.MANAGER)
def close(request: HttpRequest, number: str) -> HttpResponse:
    told = "The amendment of report {} is closed. Nothing changed, and the report stays in force."
    form = CloseAmendmentForm(posted(request))
    return _page(request, number, form, services.close_amendment, "reporting/close.html", told)


@get_or_post
@role_required(Role.MANAGER)
def withdraw(request: HttpRequest, number: str) -> HttpResponse:
    told = "Report {} is withdrawn. The customer is told."
    form = WithdrawForm(posted(request))
    return _page(request, number, form, services.withdraw, "reporting/withdraw.html", told)
