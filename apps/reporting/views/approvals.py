"""The manager's desk: what is looked at before a report is issued."""

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.calc.errors import CalcError
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.core.posting import posted_key
from apps.intake import services as intake
from apps.intake.models import Deviation, Job, Request
from apps.reporting import queries, services
from apps.reporting.forms import ApproveForm, JudgeForm, SendBackForm, refuse
from apps.reporting.views.common import NOT_SAVED, PER_PAGE, carried_out


@require_safe
@role_required(Role.MANAGER)
def approvals(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.ready_for_approval(request.user), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": queries.on_the_desk(page.object_list),
        "sent_back": queries.sent_back(request.user)[:PER_PAGE],
        "making": queries.files_being_made(clock.now()),
    }
    return render(request, "reporting/approvals.html", context)


def the_job(request: HttpRequest, number: str) -> Job:
    return get_object_or_404(Job.objects.visible_to(request.user).select_related("customer"), number=number)


def review_page(
    request: HttpRequest, review: queries.Review, *, approve=None, judge=None, send_back=None
) -> HttpResponse:
    """The job before approval. A form that was not carried out stands in its place with all that was typed:
    `judge` by its deviation, `send_back` by its request."""
    judge, send_back = judge or {}, send_back or {}
    context = {
        "review": review,
        "job": review.job,
        "read_own_values": queries.read_by(review.job, request.user),
        "not_signed_for": queries.lacking((one.request for one in review.reviewed), request.user),
        "approve": approve or ApproveForm(None, review),
        "at_risk": [
            (row, judge.get(row["id"]) or JudgeForm(auto_id=f"judge-{row['id']}-%s")) for row in review.at_risk
        ],
        "reviewed": [
            (one, send_back.get(one.request.pk) or SendBackForm(auto_id=f"back-{one.request.pk}-%s"))
            for one in review.reviewed
        ],
    }
    failed = approve or judge or send_back
    return render(request, "reporting/review.html", context, status=NOT_SAVED if failed else 200)


@require_safe
@role_required(Role.MANAGER)
def files(request: HttpRequest) -> HttpResponse:
    """The line that says how far the files are; the page asks for it again while some wait."""
    return render(request, "reporting/_making.html", {"making": queries.files_being_made(clock.now())})


@require_safe
@role_required(Role.MANAGER)
def review(request: HttpRequest, number: str) -> HttpResponse:
    return review_page(request, queries.review(the_job(request, number)))


@require_POST
@role_required(Role.MANAGER)
def approve(request: HttpRequest, number: str) -> HttpResponse:
    """Issue the report on the chosen requests. A wrong password is said beside its field, and nothing is lost."""
    shown = queries.review(the_job(request, number))
    form = ApproveForm(request.POST, shown)
    if form.is_valid():
        try:
            report = services.approve(
                **form.chosen(),
                password_ok=request.user.check_password(form.cleaned_data["password"]),
                by=request.user,
                at=clock.now(),
                key=posted_key(request),
            )
        except StalePage as refusal:
            refuse(form, refusal)
            form.show_anew()
        except (Refusal, CalcError) as refusal:
            refuse(form, refusal)
        else:
            messages.success(request, f"Report {report.number} is issued. Its file is being made.")
            return redirect("reporting:report", report.number)
    return review_page(request, shown, approve=form)


@require_POST
@role_required(Role.MANAGER)
def judge(request: HttpRequest, number: str, deviation_id: int) -> HttpResponse:
    job = the_job(request, number)
    row = get_object_or_404(Deviation, pk=deviation_id, job=job)
    form = JudgeForm(request.POST, auto_id=f"judge-{row.pk}-%s")
    said = {"deviation_id": row.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: intake.judge_deviation(**form.cleaned_data, **said)):
        messages.success(request, "The deviation is judged.")
        return redirect("reporting:review", job.number)
    return review_page(request, queries.review(job), judge={row.pk: form})


@require_POST
@role_required(Role.MANAGER)
def send_back(request: HttpRequest, number: str, request_id: int) -> HttpResponse:
    job = the_job(request, number)
    row = get_object_or_404(Request.objects.select_related("sample"), pk=request_id, sample__job=job)
    form = SendBackForm(request.POST, auto_id=f"back-{row.pk}-%s")
    said = {"request_id": row.pk, "by": request.user, "at": clock.now(), "key": posted_key(request)}
    if carried_out(form, lambda: intake.send_back(**form.cleaned_data, **said)):
        messages.success(request, f"{row} is sent back.")
        return redirect("reporting:review", job.number)
    return review_page(request, queries.review(job), send_back={row.pk: form})
