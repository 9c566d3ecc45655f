from collections.abc import Callable
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import Role
from apps.calc.errors import CalcError
from apps.core import clock
from apps.core.errors import Refusal, StalePage
from apps.intake import services as intake
from apps.intake.models import Deviation, Job, Request
from apps.reporting import queries, services
from apps.reporting.csvtext import csv_of
from apps.reporting.forms import ApproveForm, JudgeForm, SendBackForm, refuse
from apps.reporting.models import Report

PER_PAGE = 50
NOT_SAVED = 422


def posted_key(request: HttpRequest) -> UUID | None:
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None


def carried_out(form, act: Callable[[], object]) -> bool:
    """Whether a form was valid and its act done; a refusal becomes a sentence in the form."""
    if not form.is_valid():
        return False
    try:
        act()
    except (Refusal, CalcError) as refusal:
        refuse(form, refusal)
        return False
    return True


# approvals/


@require_safe
@role_required(Role.MANAGER)
def approvals(request: HttpRequest) -> HttpResponse:
    page = Paginator(queries.ready_for_approval(request.user), PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": queries.on_the_desk(page.object_list),
        "sent_back": queries.sent_back(request.user)[:PER_PAGE],
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


# reports/


def the_report(request: HttpRequest, number: str) -> Report:
    return get_object_or_404(queries.reports(request.user), number=number)


@require_safe
@role_required(*Role)
def report(request: HttpRequest, number: str) -> HttpResponse:
    issued = queries.Issued(the_report(request, number))
    context = {"issued": issued, "facts": issued.facts, "is_customer": Role.CUSTOMER in request.user.roles}
    return render(request, "reporting/report.html", context)


def pdf_mark(request: HttpRequest, number: str) -> str | None:
    """The ETag of a file is its SHA-256."""
    found = queries.reports(request.user).filter(number=number).values_list("pdf", flat=True).first()
    return f'"{found}"' if found else None


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
@condition(etag_func=pdf_mark)
def pdf(request: HttpRequest, number: str) -> HttpResponse:
    """The file as it was made, byte for byte; not there until it is."""
    content = queries.pdf_bytes(the_report(request, number))
    if content is None:
        raise Http404("The file is being made.")
    return download(content, "application/pdf", f"{number}.pdf")


@require_safe
@role_required(*Role)
@cache_control(private=True, no_cache=True)
def csv(request: HttpRequest, number: str) -> HttpResponse:
    """Results and readings for a spreadsheet, from the same facts."""
    issued = queries.Issued(the_report(request, number))
    # The mark at the beginning tells spreadsheets that this is UTF-8.
    return download(csv_of(issued.facts).encode("utf-8-sig"), "text/csv; charset=utf-8", f"{number}.csv")


def download(content: bytes, content_type: str, name: str) -> HttpResponse:
    response = HttpResponse(content, content_type=content_type)
    response["Content-Disposition"] = content_disposition_header(True, name)
    return response
