"""A sample: its page, and what is written from there."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.posting import get_or_post, posted, posted_key
from apps.intake import queries, services
from apps.intake.forms import AnswerForm, DeviationForm, MoveForm, SampleCorrection, SetAsideForm, with_answers
from apps.intake.forms.photos import PhotoForm
from apps.intake.models import Sample, SendBack
from apps.intake.views.acting import NOT_SAVED, carried_out, corrected, may_write

PHOTOS = 6  # of a sample on its page; all of them on their own


@require_safe
@role_required(*STAFF_ROLES)
def sample(request: HttpRequest, code: str) -> HttpResponse:
    return _sample_page(request, get_object_or_404(queries.sample_page(request.user), code=code))


def _sample_page(request: HttpRequest, sample: Sample, **forms) -> HttpResponse:
    """The page with its small forms; one that was sent and not carried out stands in for the empty one."""
    roles = request.user.roles
    pieces = [piece for row in sample.requests.all() for piece in row.specimens.all()]
    context = {
        "sample": sample,
        "places": sample.places.all(),
        "photos": queries.photos_of(sample)[:PHOTOS],
        "photo_form": PhotoForm(None, None, sample, pieces),
        "deviations": queries.deviations_of(sample),
        "send_backs": with_answers(queries.send_backs_of(sample)),
        "label_code": queries.label_code(sample.code),
        "cautions": queries.cautions([sample]),
        "ways": [queries.way_shown(row) for row in sample.requests.all()],
        "may_write": may_write(request),
        "may_correct": bool(roles & {Role.FRONT_DESK, Role.BENCH, Role.MANAGER}),
        "may_set_aside": bool(roles & {Role.BENCH, Role.MANAGER}),
        "may_answer": [str(role) for role in roles] + (list(SendBack.To) if Role.MANAGER in roles else []),
        "move": MoveForm(),
        "deviate": DeviationForm(None, sample),
        "aside": SetAsideForm(None, sample),
        **forms,
    }
    return render(request, "intake/sample.html", context, status=NOT_SAVED if forms else 200)


@get_or_post
@role_required(Role.FRONT_DESK, Role.BENCH, Role.MANAGER)
def correct_sample(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(Sample.objects.visible_to(request.user).select_related("job__customer"), code=code)
    form = SampleCorrection(posted(request), sample)

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

    if form.is_bound and corrected(form, deed):
        messages.success(request, f"Sample {sample.code} is put right.")
        return redirect("intake:sample", code=sample.code)
    context = {"form": form, "sample": sample}
    return render(request, "intake/correct_sample.html", context, status=NOT_SAVED if form.errors else 200)


@require_POST
@role_required(*STAFF_ROLES)
def move_sample(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(queries.sample_page(request.user), code=code)
    form = MoveForm(request.POST)
    if form.is_valid() and carried_out(
        form,
        lambda: services.move_sample(
            sample_id=sample.pk,
            place=form.cleaned_data["place"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        ),
    ):
        return redirect("intake:sample", code=sample.code)
    return _sample_page(request, sample, move=form)


@require_POST
@role_required(*STAFF_ROLES)
def deviate(request: HttpRequest, code: str) -> HttpResponse:
    sample = get_object_or_404(queries.sample_page(request.user), code=code)
    form = DeviationForm(request.POST, sample)
    if form.is_valid() and carried_out(
        form,
        lambda: services.deviate(
            job_id=sample.job_id, **form.facts(), by=request.user, at=clock.now(), key=posted_key(request)
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
    if form.is_valid() and carried_out(
        form,
        lambda: services.set_aside(
            specimen_id=int(form.cleaned_data["specimen"]),
            reason=form.cleaned_data["reason"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        ),
    ):
        messages.success(request, "The specimen is set aside.")
        return redirect("intake:sample", code=sample.code)
    return _sample_page(request, sample, aside=form)


@require_POST
@role_required(*STAFF_ROLES)
def answer(request: HttpRequest, send_back_id: int) -> HttpResponse:
    """The room it was sent to answers, or the manager in its stead."""
    rows = SendBack.objects.visible_to(request.user).select_related("request__sample__job", "by")
    row = get_object_or_404(rows, pk=send_back_id)
    if not request.user.roles & {Role(row.to), Role.MANAGER}:
        raise PermissionDenied
    form = AnswerForm(request.POST)
    if form.is_valid() and carried_out(
        form,
        lambda: services.answer_send_back(
            send_back_id=row.pk,
            answer=form.cleaned_data["answer"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        ),
    ):
        messages.success(request, f"{row.request.sample.code} goes to the manager again.")
        wanted = request.POST.get("next", "")
        safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
        return HttpResponseRedirect(wanted) if safe else redirect("intake:sample", code=row.request.sample.code)
    return render(request, "intake/answer.html", {"row": row, "form": form}, status=NOT_SAVED)
