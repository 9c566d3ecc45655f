"""Who signs for which method."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.posting import posted_key
from apps.methods.models import TestMethod
from apps.reporting import queries, services
from apps.reporting.forms import EndForm, GrantForm
from apps.reporting.models import Signatory
from apps.reporting.views.common import NOT_SAVED, PER_PAGE, carried_out


def _page(request: HttpRequest, *, grant=None, end=None) -> HttpResponse:
    """All editions with who signs. A form that was not carried out stands in its place: `grant` by its method, `end`
    by its grant."""
    grant, end = grant or {}, end or {}
    page = Paginator(queries.signatories(), PER_PAGE).get_page(request.GET.get("page"))
    managers = list(queries.managers())
    rows = [
        (
            method,
            [(row, end.get(row.pk) or EndForm(auto_id=f"end-{row.pk}-%s")) for row in method.signing],
            grant.get(method.pk) or GrantForm(None, managers, auto_id=f"grant-{method.pk}-%s"),
        )
        for method in page
    ]
    status = NOT_SAVED if grant or end else 200
    return render(request, "reporting/signatories.html", {"page": page, "rows": rows}, status=status)


@require_safe
@role_required(Role.MANAGER)
def signatories(request: HttpRequest) -> HttpResponse:
    return _page(request)


@require_POST
@role_required(Role.MANAGER)
def grant(request: HttpRequest, method_id: int) -> HttpResponse:
    method = get_object_or_404(TestMethod, pk=method_id)
    form = GrantForm(request.POST, queries.managers(), auto_id=f"grant-{method.pk}-%s")
    said = {"method_id": method.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}

    def act() -> None:
        services.grant_signatory(person_id=form.cleaned_data["person"], deputy=form.cleaned_data["deputy"], **said)

    if carried_out(form, act):
        messages.success(request, f"The grant for {method} holds from now on.")
        return redirect("reporting:signatories")
    return _page(request, grant={method.pk: form})


@require_POST
@role_required(Role.MANAGER)
def end(request: HttpRequest, signatory_id: int) -> HttpResponse:
    row = get_object_or_404(Signatory.objects.select_related("person", "method"), pk=signatory_id)
    form = EndForm(request.POST, auto_id=f"end-{row.pk}-%s")
    said = {"signatory_id": row.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: services.end_signatory(**form.cleaned_data, **said)):
        messages.success(request, f"{row.person} signs for {row.method} no more.")
        return redirect("reporting:signatories")
    return _page(request, end={row.pk: form})
