"""A way of testing: one more, another, and the contract looked at again."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.core import clock
from apps.core.posting import get_or_post, posted, posted_key
from apps.intake import queries, services
from apps.intake.forms import RequestChange, ReviewAgain
from apps.intake.forms.request import RequestForm
from apps.intake.models import Request, Sample
from apps.intake.views.acting import NOT_SAVED, carried_out, corrected


def _request(request: HttpRequest, code: str, ordinal: int) -> Request:
    rows = Request.objects.visible_to(request.user).select_related(
        "sample__job__customer", "method", "procedure", "drying", "contract_review__by"
    )
    return get_object_or_404(rows, sample__code=code, ordinal=ordinal)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def add_request(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(Sample.objects.visible_to(request.user).select_related("job__customer"), code=code)
    form = RequestForm(posted(request), catalogue=queries.catalogue(), prefix="way")
    form.kind = sample.kind
    if form.is_valid() and carried_out(
        form,
        lambda: services.add_request(
            sample_id=sample.pk, request=form.details(), by=request.user, at=clock.now(), key=posted_key(request)
        ),
    ):
        messages.success(request, "The way of testing is added.")
        return redirect("intake:sample", code=sample.code)
    context = {"form": form, "sample": sample}
    return render(request, "intake/add_request.html", context, status=NOT_SAVED if form.errors else 200)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def change_request(request: HttpRequest, code: str, ordinal: int) -> HttpResponse:
    row = _request(request, code, ordinal)
    form = RequestChange(posted(request), row, catalogue=queries.catalogue(keep=row))

    def deed() -> Request:
        return services.change_request(
            request_id=row.pk,
            shown=form.shown_details(),
            request=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        )

    if form.is_bound and corrected(form, deed):
        messages.success(request, f"The way of testing of {code} is changed.")
        return redirect("intake:sample", code=code)
    return _change_page(request, row, form=form)


@require_POST
@role_required(Role.FRONT_DESK, Role.MANAGER)
def review_request(request: HttpRequest, code: str, ordinal: int) -> HttpResponse:
    row = _request(request, code, ordinal)
    review = ReviewAgain(request.POST, row.contract_review)

    def deed() -> Request:
        return services.review_request(
            request_id=row.pk,
            shown=review.shown_details(),
            review=review.review(),
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        )

    if corrected(review, deed):
        messages.success(request, "The contract is looked at again.")
        return redirect("intake:sample", code=code)
    return _change_page(request, row, review=review)


def _change_page(request: HttpRequest, row: Request, *, form=None, review=None) -> HttpResponse:
    context = {
        "row": row,
        "form": form or RequestChange(None, row, catalogue=queries.catalogue(keep=row)),
        "review": review or ReviewAgain(None, row.contract_review),
        "begun": row.specimens.exists(),
    }
    failed = context["form"].errors or context["review"].errors
    return render(request, "intake/change_request.html", context, status=NOT_SAVED if failed else 200)
