"""Photos of a sample: kept, looked at, chosen for a report. The customer sees them in the report only."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import cache_control
from django.views.decorators.http import condition, require_POST, require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.core import clock
from apps.core.posting import get_or_post, posted_key
from apps.intake import queries, services
from apps.intake.forms.photos import ChooseForm, PhotoForm
from apps.intake.models import Photo, Request, Sample, Specimen
from apps.intake.views.acting import NOT_SAVED, carried_out

CHOOSERS = {Role.FRONT_DESK, Role.BENCH, Role.MANAGER}


def the_sample(request: HttpRequest, code: str) -> Sample:
    return get_object_or_404(Sample.objects.visible_to(request.user).select_related("job"), code=code)


@get_or_post
@role_required(*STAFF_ROLES)
def photos(request: HttpRequest, code: str) -> HttpResponse:
    sample = the_sample(request, code)
    specimens = Specimen.objects.filter(request__sample=sample).order_by("number")
    sent = (request.POST, request.FILES) if request.method == "POST" else (None, None)
    form = PhotoForm(*sent, sample, specimens)
    if form.is_valid() and carried_out(
        form,
        lambda: services.keep_photo(
            sample_id=sample.pk,
            picture=form.cleaned_data["file"],
            specimen_id=form.specimen_id,
            caption=form.cleaned_data["caption"],
            by=request.user,
            at=clock.now(),
            key=posted_key(request),
        ),
    ):
        messages.success(request, "The photo is kept.")
        return redirect("intake:photos", code=sample.code)
    return _page(request, sample, form)


def _page(
    request: HttpRequest, sample: Sample, form: PhotoForm, failed: dict[int, ChooseForm] | None = None
) -> HttpResponse:
    kept = list(queries.photos_of(sample))
    ways = list(sample.requests.select_related("method").order_by("ordinal"))
    chosen = queries.chosen_photos(ways)
    choices = [(way, (failed or {}).get(way.pk) or _choice(way, kept, chosen[way.pk])) for way in ways]
    context = {
        "sample": sample,
        "photos": kept,
        "form": form,
        "choices": choices,
        "may_choose": bool(request.user.roles & CHOOSERS),
    }
    bound = form.is_bound or bool(failed)
    return render(request, "intake/photos.html", context, status=NOT_SAVED if bound else 200)


def _choice(way: Request, kept: list[Photo], chosen: list[Photo], data=None) -> ChooseForm:
    shown = [one for one in kept if one.specimen is None or one.specimen.request_id == way.pk]
    return ChooseForm(data, shown, chosen, auto_id=f"id_{way.ordinal}_%s")


@require_POST
@role_required(*CHOOSERS)
def choose(request: HttpRequest, code: str, ordinal: int) -> HttpResponse:
    sample = the_sample(request, code)
    way = get_object_or_404(sample.requests.select_related("method"), ordinal=ordinal)
    form = _choice(way, list(queries.photos_of(sample)), [], request.POST)
    if form.is_valid() and carried_out(
        form,
        lambda: services.choose_photos(
            request_id=way.pk, photo_ids=form.photo_ids, by=request.user, at=clock.now(), key=posted_key(request)
        ),
    ):
        messages.success(request, f"The report on {way} shows {len(form.photo_ids)} of the photos.")
        return redirect("intake:photos", code=sample.code)
    specimens = Specimen.objects.filter(request__sample=sample).order_by("number")
    return _page(request, sample, PhotoForm(None, None, sample, specimens), {way.pk: form})


def _mark(request: HttpRequest, code: str, sha256: str) -> str | None:
    """A mark says that the picture is there, so it is given only to who may see it."""
    return f'"{sha256}"' if queries.sees_photo(request.user, code, sha256) else None


@require_safe
@role_required(*STAFF_ROLES)
@cache_control(private=True, no_cache=True)
@condition(etag_func=_mark)
def photo(request: HttpRequest, code: str, sha256: str) -> HttpResponse:
    """The picture itself, made by the house from what was sent; never the sender's own bytes."""
    content = queries.content_of(sha256) if queries.sees_photo(request.user, code, sha256) else None
    if content is None:
        raise Http404
    return HttpResponse(content, content_type=services.JPEG, headers={"Content-Disposition": "inline"})
