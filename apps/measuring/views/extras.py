"""Extra measurements on the same specimens: skew and twist."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.calc.errors import CalcError
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.measuring import pages, queries, services
from apps.measuring.forms import ExtrasForm
from apps.measuring.views.sheets import request_of, sample_of, sent, stage_of, when


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def extras(request: HttpRequest, code: str) -> HttpResponse:
    """One sheet of extra measurements: a request at a stage, two distances a figure."""
    sample = sample_of(request, code)
    order = request_of(sample, request.GET.get("request", ""))
    if order is None:
        return render(request, "measuring/no_request.html", {"sample": sample})
    stage = stage_of(order, request.GET.get("stage", ""))
    form = ExtrasForm(sent(request), cells=queries.extras_sheet(order, stage))
    if form.is_valid():
        typed = {name: form.cleaned_data[name] for name in ("unit", "reason")}
        who = {"by": request.user, "at": when(form), "key": posted_key(request)}
        try:
            kept = services.enter_extras(request_id=order.pk, stage=stage, entries=form.entries, **typed, **who)
        except (Refusal, CalcError) as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, "Nothing new." if not kept else f"Saved: {len(kept)}.")
            address = reverse("measuring:extras", args=[sample.code])
            return redirect(f"{address}?request={order.ordinal}&stage={stage}")
    context = {"order": order, "stage": stage, "form": form, **pages.of_extras(order, stage, form)}
    return render(request, "measuring/extras.html", context, status=422 if form.is_bound else 200)
