"""The front desk: what came in, and a job from its receipt on."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.accounts.queries import the_lab
from apps.calc.errors import CalcError
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted, posted_key
from apps.intake import queries, services
from apps.intake.forms import FilterForm, JobCorrection, Sheet, sheet_data, with_answers
from apps.intake.models import Announcement, Job, SendBack
from apps.intake.views.acting import NOT_SAVED, corrected, may_write

PER_PAGE = 50


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
        "announced": Paginator(queries.announced(request.user), PER_PAGE).get_page(1),
        "send_backs": with_answers(queries.waiting_send_backs(user=request.user, to=SendBack.To.FRONT_DESK)),
        "may_write": may_write(request),
    }
    return render(request, "intake/receiving.html", context)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def receive(request: HttpRequest) -> HttpResponse:
    """One sheet for a job with all its samples. Its buttons post the sheet; only one of them receives the job."""
    now, announced = clock.now(), _announced(request)
    typed = sheet_data(announced, now) if announced and request.method != "POST" else posted(request)
    sheet = Sheet(typed, catalogue=queries.catalogue(), lab=the_lab(), now=now)
    if sheet.is_complete():
        try:
            job = services.receive_job(
                job=sheet.job_details(),
                samples=sheet.samples(),
                by=request.user,
                at=now,
                key=posted_key(request),
                earliest_on=sheet.earliest,
                announcement_id=announced.pk if announced else None,
            )
        except (Refusal, CalcError) as refusal:
            sheet.refuse(refusal)
        else:
            messages.success(request, f"Job {job.number} is received.")
            return redirect("intake:acknowledgement", number=job.number)
    context = {"customers": queries.customer_names(), "announced": announced}
    return _sheet_page(request, "intake/receive.html", sheet, **context)


def _announced(request: HttpRequest) -> Announcement | None:
    """The announcement that the page is filled with, as the list of announced parcels led here."""
    text = (request.POST if request.method == "POST" else request.GET).get("announced", "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        return None
    return Announcement.objects.visible_to(request.user).filter(pk=text).first()


def _sheet_page(request: HttpRequest, template: str, sheet: Sheet, **context) -> HttpResponse:
    context |= {"sheet": sheet, "problems": sheet.problems()}
    return render(request, template, context, status=NOT_SAVED if context["problems"] else 200)


@require_safe
@role_required(*STAFF_ROLES)
def acknowledgement(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_acknowledgement(request.user), number=number)
    samples = [(sample, [queries.way_shown(row) for row in sample.requests.all()]) for sample in job.samples.all()]
    context = {"job": job, "samples": samples, "cautions": queries.cautions(job.samples.all())}
    context["may_write"] = may_write(request)
    return render(request, "intake/acknowledgement.html", context)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def correct_job(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(Job.objects.visible_to(request.user).select_related("customer"), number=number)
    form = JobCorrection(posted(request), job)
    if form.is_bound and form.is_valid() and "due_on" in form.changed_data:
        form.check_promise(queries.earliest_for(job, the_lab()))

    def deed() -> Job:
        return services.correct_job(
            job_id=job.pk,
            shown=form.shown_details(),
            job=form.details(),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        )

    if form.is_bound and corrected(form, deed):
        messages.success(request, f"Job {job.number} is put right.")
        return redirect("front:job", number=job.number)
    context = {"form": form, "job": job, "customers": queries.customer_names()}
    return render(request, "intake/correct_job.html", context, status=NOT_SAVED if form.errors else 200)


@get_or_post
@role_required(Role.FRONT_DESK, Role.MANAGER)
def add_sample(request: HttpRequest, number: str) -> HttpResponse:
    job = get_object_or_404(queries.job_for_acknowledgement(request.user), number=number)
    now = clock.now()
    sheet = Sheet(posted(request), catalogue=queries.catalogue(), lab=the_lab(), now=now, job=job)
    if sheet.is_complete():
        try:
            sample = services.add_sample(
                job_id=job.pk, sample=sheet.samples()[0], by=request.user, at=now, key=posted_key(request)
            )
        except (Refusal, CalcError) as refusal:
            sheet.refuse(refusal)
        else:
            messages.success(request, f"Sample {sample.code} is added.")
            return redirect("intake:sample", code=sample.code)
    return _sheet_page(request, "intake/add_sample.html", sheet, job=job)
