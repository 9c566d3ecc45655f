from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.accounts.queries import the_lab
from apps.calc.errors import CalcError
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake import queries, services
from apps.intake.forms import (
    AnswerForm,
    DeviationForm,
    FilterForm,
    JobCorrection,
    MoveForm,
    RequestChange,
    ReviewAgain,
    SampleCorrection,
    SetAsideForm,
    Sheet,
    refuse,
)
from apps.intake.forms.changes import Correction
from apps.intake.forms.request import RequestForm
from apps.intake.models import Job, Request, Sample, SendBack

PER_PAGE = 50
NOT_SAVED = 422
get_or_post = require_http_methods(["GET", "HEAD", "POST"])


def _key(request: HttpRequest) -> UUID | None:
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


def _posted(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None


def _act(form, act: Callable[[], object]) -> bool:
    """Whether a valid form was carried out; a refusal becomes a sentence in it, and a stale page is shown anew."""
    try:
        act()
    except (Refusal, CalcError) as refusal:
        if isinstance(refusal, StalePage):
            form.row.refresh_from_db()
            form.renew()
        refuse(form, refusal)
        return False
    return True


def _corrected(form: Correction, act: Callable[[], object]) -> bool:
    """The same for a form that must know what its page showed."""
    if form.is_valid():
        return _act(form, act)
    if form.has_error("shown"):
        form.renew()
    return False


# What came in


@require_safe
@role_required(*STAFF_ROLES)
def receiving(request: HttpRequest) -> HttpResponse:
    look = FilterForm(request.GET)
    everything = request.GET.get("show") == "all"
    jobs = queries.received_jobs(user=request.user, text=look.words(), everything=everything)
    page = Paginator(jobs, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "look": look,
        "everything": everything,
        "page": page,
        "rows": queries.job_rows(page.object_list, today=timezone.localdate(clock.now())),
        "send_backs": queries.waiting_send_backs(user=request.user, to=SendBack.To.FRONT_DESK),
        "may_write": bool(request.user.roles & {Role.FRONT_DESK, Role.MANAGER}),
        "answer": AnswerForm(),
    }
    return render(request, "intake/receiving.html", context)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def receive(request: HttpRequest) -> HttpResponse:
    """One sheet for a job with all its samples. Its buttons post the sheet; only one of them receives the job."""
    now = clock.now()
    sheet = Sheet(_posted(request), catalogue=queries.catalogue(), lab=the_lab(), now=now)
    if sheet.is_complete():
        try:
            job = services.receive_job(
                job=sheet.job_details(),
                samples=sheet.samples(),
                by=request.user,
                at=now,
                key=_key(request),
                earliest_on=sheet.earliest,
            )
        except (Refusal, CalcError) as refusal:
            sheet.refuse(refusal)
        else:
            messages.success(request, f"Job {job.number} is received.")
            return redirect("intake:acknowledgement", number=job.number)
    return _sheet_page(request, "intake/receive.html", sheet, customers=queries.customer_names())


def _sheet_page(request: HttpRequest, template: str, sheet: Sheet, **context) -> HttpResponse:
    context |= {"sheet": sheet, "problems": sheet.problems()}
    return render(request, template, context, status=NOT_SAVED if context["problems"] else 200)


@require_safe
@role_required(*STAFF_ROLES)
def acknowledgement(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_acknowledgement(request.user), number=number)
    return render(request, "intake/acknowledgement.html", {"job": job, "cautions": queries.cautions(job.samples.all())})


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def correct_job(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user).select_related("customer"), number=number)
    form = JobCorrection(_posted(request), job)
    if form.is_bound and form.is_valid() and "due_on" in form.changed_data:
        form.check_promise(queries.earliest_for(job, the_lab()))

    def act() -> Job:
        return services.correct_job(
            job_id=job.pk,
            shown=form.shown_details(),
            job=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        )

    if form.is_bound and _corrected(form, act):
        messages.success(request, f"Job {job.number} is put right.")
        return redirect("front:job", number=job.number)
    context = {"form": form, "job": job, "customers": queries.customer_names()}
    return render(request, "intake/correct_job.html", context, status=NOT_SAVED if form.errors else 200)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def add_sample(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_acknowledgement(request.user), number=number)
    now = clock.now()
    sheet = Sheet(_posted(request), catalogue=queries.catalogue(), lab=the_lab(), now=now, job=job)
    if sheet.is_complete():
        try:
            sample = services.add_sample(
                job_id=job.pk, sample=sheet.samples()[0], by=request.user, at=now, key=_key(request)
            )
        except (Refusal, CalcError) as refusal:
            sheet.refuse(refusal)
        else:
            messages.success(request, f"Sample {sample.code} is added.")
            return redirect("intake:sample", code=sample.code)
    return _sheet_page(request, "intake/add_sample.html", sheet, job=job)


# A sample


@require_safe
@role_required(*STAFF_ROLES)
def sample(request: HttpRequest, code: str) -> HttpResponse:
    return _sample_page(request, get_object_or_404(queries.sample_page(request.user), code=code))


def _sample_page(request: HttpRequest, sample: Sample, **forms) -> HttpResponse:
    """The page with its small forms; one that was sent and not carried out stands in for the empty one."""
    roles = request.user.roles
    context = {
        "sample": sample,
        "places": sample.places.all(),
        "deviations": queries.deviations_of(sample),
        "send_backs": queries.send_backs_of(sample),
        "label_code": queries.label_code(sample.code),
        "cautions": queries.cautions([sample]),
        "ways": [queries.way_shown(row) for row in sample.requests.all()],
        "may_write": bool(roles & {Role.FRONT_DESK, Role.MANAGER}),
        "may_correct": bool(roles & {Role.FRONT_DESK, Role.BENCH, Role.MANAGER}),
        "may_set_aside": bool(roles & {Role.BENCH, Role.MANAGER}),
        "may_answer": [str(role) for role in roles] + (list(SendBack.To) if Role.MANAGER in roles else []),
        "move": MoveForm(),
        "deviate": DeviationForm(None, sample),
        "aside": SetAsideForm(None, sample),
        "answer": AnswerForm(),
        **forms,
    }
    return render(request, "intake/sample.html", context, status=NOT_SAVED if forms else 200)


@get_or_post
@role_required(Role.FRONT_DESK, Role.BENCH, Role.MANAGER)
def correct_sample(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(Sample.objects.visible_to(request.user).select_related("job__customer"), code=code)
    form = SampleCorrection(_posted(request), sample)

    def act() -> Sample:
        return services.correct_sample(
            sample_id=sample.pk,
            shown=form.shown_details(),
            sample=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        )

    if form.is_bound and _corrected(form, act):
        messages.success(request, f"Sample {sample.code} is put right.")
        return redirect("intake:sample", code=sample.code)
    context = {"form": form, "sample": sample}
    return render(request, "intake/correct_sample.html", context, status=NOT_SAVED if form.errors else 200)


@require_POST
@role_required(*STAFF_ROLES)
def move_sample(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(queries.sample_page(request.user), code=code)
    form = MoveForm(request.POST)
    if form.is_valid() and _act(
        form,
        lambda: services.move_sample(
            sample_id=sample.pk,
            place=form.cleaned_data["place"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        ),
    ):
        return redirect("intake:sample", code=sample.code)
    return _sample_page(request, sample, move=form)


@require_POST
@role_required(*STAFF_ROLES)
def deviate(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(queries.sample_page(request.user), code=code)
    form = DeviationForm(request.POST, sample)
    if form.is_valid() and _act(
        form,
        lambda: services.deviate(
            job_id=sample.job_id, **form.facts(), by=request.user, at=clock.now(), key=_key(request)
        ),
    ):
        messages.success(request, "The deviation is written down.")
        return redirect("intake:sample", code=sample.code)
    return _sample_page(request, sample, deviate=form)


@require_POST
@role_required(Role.BENCH, Role.MANAGER)
def set_aside(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(queries.sample_page(request.user), code=code)
    form = SetAsideForm(request.POST, sample)
    if form.is_valid() and _act(
        form,
        lambda: services.set_aside(
            specimen_id=int(form.cleaned_data["specimen"]),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        ),
    ):
        messages.success(request, "The specimen is set aside.")
        return redirect("intake:sample", code=sample.code)
    return _sample_page(request, sample, aside=form)


# A way of testing


def _request(request: HttpRequest, code: str, ordinal: int) -> Request:
    rows = Request.objects.visible_to(request.user).select_related(
        "sample__job__customer", "method", "procedure", "drying", "contract_review__by"
    )
    return get_object_or_404(rows, sample__code=code, ordinal=ordinal)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def add_request(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(Sample.objects.visible_to(request.user).select_related("job__customer"), code=code)
    form = RequestForm(_posted(request), catalogue=queries.catalogue(), prefix="way")
    form.kind = sample.kind
    if form.is_valid() and _act(
        form,
        lambda: services.add_request(
            sample_id=sample.pk, request=form.details(), by=request.user, at=clock.now(), key=_key(request)
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
    form = RequestChange(_posted(request), row, catalogue=queries.catalogue(keep=row))

    def act() -> Request:
        return services.change_request(
            request_id=row.pk,
            shown=form.shown_details(),
            request=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        )

    if form.is_bound and _corrected(form, act):
        messages.success(request, f"The way of testing of {code} is changed.")
        return redirect("intake:sample", code=code)
    return _change_page(request, row, form=form)


@require_POST
@role_required(Role.FRONT_DESK, Role.MANAGER)
def review_request(request: HttpRequest, code: str, ordinal: int) -> HttpResponse:
    row = _request(request, code, ordinal)
    review = ReviewAgain(request.POST, row.contract_review)

    def act() -> Request:
        return services.review_request(
            request_id=row.pk,
            shown=review.shown_details(),
            review=review.review(),
            by=request.user,
            at=clock.now(),
            key=_key(request),
        )

    if _corrected(review, act):
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


# Sent back by the manager


@require_POST
@role_required(*STAFF_ROLES)
def answer(request: HttpRequest, send_back_id: int) -> HttpResponse:
    """The room it was sent to answers, or the manager in its stead."""
    rows = SendBack.objects.visible_to(request.user).select_related("request__sample__job", "by")
    row = get_object_or_404(rows, pk=send_back_id)
    if not request.user.roles & {Role(row.to), Role.MANAGER}:
        raise PermissionDenied
    form = AnswerForm(request.POST)
    if form.is_valid() and _act(
        form,
        lambda: services.answer_send_back(
            send_back_id=row.pk,
            answer=form.cleaned_data["answer"],
            by=request.user,
            at=clock.now(),
            key=_key(request),
        ),
    ):
        messages.success(request, f"{row.request.sample.code} goes to the manager again.")
        wanted = request.POST.get("next", "")
        safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
        return redirect(wanted) if safe else redirect("intake:sample", code=row.request.sample.code)
    return render(request, "intake/answer.html", {"row": row, "form": form}, status=NOT_SAVED)
