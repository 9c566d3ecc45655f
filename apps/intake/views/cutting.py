"""The cutting plan of a sample, and its size as measured at the cutting table."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.core.posting import posted_key
from apps.intake import pdf, queries, services
from apps.intake.forms import SizeForm
from apps.intake.models import Sample
from apps.intake.views.acting import NOT_SAVED, corrected

MEASURERS = {Role.FRONT_DESK, Role.BENCH, Role.MANAGER}


def the_sample(request: HttpRequest, code: str) -> Sample:
    return get_object_or_404(Sample.objects.visible_to(request.user).select_related("job__customer"), code=code)


@require_safe
@role_required(*STAFF_ROLES)
def plan(request: HttpRequest, code: str) -> HttpResponse:
    sample = the_sample(request, code)
    return plan_page(request, sample, SizeForm(None, sample))


def plan_page(request: HttpRequest, sample: Sample, form: SizeForm) -> HttpResponse:
    plan = queries.plan_of(sample)
    context = {
        "sample": sample,
        "plan": plan,
        "drawing": plan.drawing(),
        "instructions": queries.cutting_instructions(sample),
        "cautions": [*queries.AT_THE_CUTTER, *queries.cautions([sample])],
        "form": form,
        "may_measure": bool(request.user.roles & MEASURERS),
        "may_cut": bool(request.user.roles & {Role.BENCH, Role.MANAGER}),
    }
    return render(request, "intake/cutting_plan.html", context, status=NOT_SAVED if form.is_bound else 200)


@require_safe
@role_required(*STAFF_ROLES)
def plan_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """The same plan on one sheet, for the cutting table."""
    sample = the_sample(request, code)
    content = pdf.cutting_plan(queries.plan_of(sample), the_lab(), at=clock.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = content_disposition_header(False, f"{sample.code}-cutting-plan.pdf")
    return response


@require_POST
@role_required(*MEASURERS)
def size(request: HttpRequest, code: str) -> HttpResponse:
    """Width and length as measured at the table; what is not cut yet is planned anew."""
    sample = the_sample(request, code)
    form = SizeForm(request.POST, sample)

    def deed() -> Sample:
        return services.correct_sample(
            sample_id=sample.pk,
            shown=form.shown_details(),
            sample=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        )

    if corrected(form, deed):
        messages.success(request, f"The size of {sample.code} is kept; the plan is made anew.")
        return redirect("intake:cutting_plan", code=sample.code)
    return plan_page(request, sample, form)
