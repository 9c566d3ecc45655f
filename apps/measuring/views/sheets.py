from datetime import datetime

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from apps.accounts.gates import role_required
from apps.accounts.models import STAFF_ROLES, Role
from apps.calc.errors import CalcError
from apps.core import clock, tablet
from apps.core.errors import Refusal
from apps.core.posting import get_or_post, posted_key
from apps.intake.models import Request, Sample
from apps.intake.queries import plan_of
from apps.measuring import pages, queries, services
from apps.measuring.forms import CorrectionForm, CutForm, GarmentForm, LostMarkForm, SheetForm
from apps.measuring.models import Reading

WRITERS = {Role.BENCH, Role.MANAGER}
PAGE = 50
ASKED = ("unit", "confirmed", "remark", "late_reason", "early_reason")


@require_safe
@role_required(*STAFF_ROLES)
def bench(request: HttpRequest) -> HttpResponse:
    """What is to do at the bench, in the order of work."""
    page = Paginator(queries.bench_list(request.user), PAGE).get_page(request.GET.get("page"))
    rows = queries.bench_rows(page, at=clock.now())
    context = {"page": page, "rows": rows, "may_write": may_write(request), "tablet": tablet.tablet(request)}
    return render(request, "measuring/bench.html", context)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def cut(request: HttpRequest, code: str, ordinal: int) -> HttpResponse:
    """Cut and mark: how many, which codes go on the cloth, how the marks are made; then on to the readings."""
    order = request_of(sample_of(request, code), str(ordinal))
    garment = queries.garment(order, request.POST.get("garment") or request.GET.get("garment", ""))
    plan = plan_of(order.sample)
    way = plan.way(order.pk) if plan.is_drawn else None
    asked = {"method": order.method, "way": way}
    form = GarmentForm(sent(request), garment.points, **asked) if garment else CutForm(sent(request), **asked)
    if form.is_valid():
        try:
            mark(request, order, form)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            return redirect(sheet_address(order, 0))
    context = {"order": order, "form": form, "cutting": queries.cutting(order, plan), "garment": garment}
    context |= {"plan": plan, "way": way, "plan_drawing": plan.drawing()}
    context["drawing"] = pages.garment(garment.points) if garment else pages.marks(order)
    context["marking_points"] = pages.points(garment.points, form) if garment else []
    return render(request, "measuring/cut.html", context, status=422 if form.is_bound else 200)


def mark(request: HttpRequest, order: Request, form: CutForm) -> None:
    who = {"by": request.user, "at": when(form), "key": posted_key(request)}
    who |= {"late_reason": form.cleaned_data["late_reason"]}
    who |= {"garment": form.marks if isinstance(form, GarmentForm) else None}
    if order.specimens.filter(stage="cut").exists():
        pairs = services.mark_specimens(request_id=order.pk, **who)
    else:
        typed = {name: form.cleaned_data[name] for name in ("count", "fewer_reason", "outside_reason")}
        pairs = services.cut_and_mark(request_id=order.pk, **typed, shown=form.cleaned_data["plan"], **who)
    names = dict.fromkeys(pair.specimen.short_code for pair in pairs)
    done = "marked" if order.method.specimen_side_mm is None else "cut and marked"
    messages.success(request, f"{', '.join(names)} {done}. Read the original distances now.")


@require_safe
@role_required(*STAFF_ROLES)
def readings(request: HttpRequest, code: str) -> HttpResponse:
    """One sheet: a request at a stage, by specimen, direction and pair."""
    sample = sample_of(request, code)
    order = request_of(sample, request.GET.get("request", ""))
    if order is None:
        return render(request, "measuring/no_request.html", {"sample": sample})
    sheet = queries.sheet(order, stage_of(order, request.GET.get("stage", "")))
    return sheet_page(request, sheet, SheetForm(sheet=sheet))


@tablet.answers_taps
@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def enter(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what was typed on a sheet; what is wrong is told beside its cell, and nothing typed is lost.

    The script sends each cell as it is left, the page without script the whole sheet: the same form, the same service.
    """
    if request.method != "POST":
        return redirect("measuring:readings", code)
    order, stage = posted_sheet(request, code)
    sheet, brought = queries.sheet(order, stage), tablet.is_tap(request)
    form = SheetForm(posted_cells(request, sheet), sheet=sheet)
    if form.is_valid():
        asked = {
            name: form.cleaned_data[name] for name in ("unit", "confirmed", "remark", "late_reason", "early_reason")
        }
        at = form.cleaned_data["at"] or tablet.moment(request)
        who = {"by": request.user, "at": at, "key": posted_key(request)}
        try:
            kept = services.enter_readings(request_id=order.pk, stage=stage, entries=form.entries, **asked, **who)
        except (Refusal, CalcError) as refusal:
            form.put_beside(refusal)
        else:
            saved = "1 reading is saved." if len(kept) == 1 else f"{len(kept)} readings are saved."
            if brought:
                return tablet.written(told=saved, **pages.figures_of(queries.sheet(order, stage), is_blind(request)))
            messages.success(request, saved)
            return redirect(sheet_address(order, stage, blind=is_blind(request)))
    if brought:
        return tablet.refused(**pages.refusal_of(form), **pages.figures_of(sheet, is_blind(request)))
    return sheet_page(request, sheet, form, status=422)


def posted_cells(request: HttpRequest, sheet: queries.Sheet) -> QueryDict:
    """What was posted; with one press every mark still due is the mark of a percent template."""
    if "template" not in request.POST or sheet.stage:
        return request.POST
    posted = request.POST.copy()
    posted["unit"] = Reading.Unit.PERCENT
    for cell in sheet.due:
        posted[SheetForm.name_of(cell.pair.pk)] = "0"
    return posted


def is_blind(request: HttpRequest) -> bool:
    """Whether the person asked not to see the values before washing while reading."""
    return "hidden" in (request.GET.get("before"), request.POST.get("before"))


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def lose_mark(request: HttpRequest, code: str) -> HttpResponse:
    """A mark is lost: its pair has no reading from this stage on."""
    if request.method != "POST":
        return redirect("measuring:readings", code)
    order, stage = posted_sheet(request, code)
    sheet = queries.sheet(order, stage)
    form = LostMarkForm(request.POST, sheet=sheet)
    if form.is_valid():
        which, why = form.cleaned_data["pair"], form.cleaned_data["reason"]
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        try:
            pair = services.lose_mark(pair_id=which, stage=stage, reason=why, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{pair.specimen.short_code} {pair.name} is given up from here on.")
            return redirect(sheet_address(order, stage))
    return sheet_page(request, sheet, SheetForm(sheet=sheet), lost_form=form, status=422)


@get_or_post
@role_required(Role.BENCH, Role.MANAGER)
def correct(request: HttpRequest, reading_id: int) -> HttpResponse:
    """Put a reading right: the old value stays visible with the reason."""
    everything = Reading.objects.visible_to(request.user).select_related(
        "read_by", "voided_by", "pair__specimen__request__sample__job", "pair__specimen__request__method"
    )
    reading = get_object_or_404(everything, pk=reading_id)
    form = CorrectionForm(sent(request), reading=reading)
    if form.is_valid():
        who = {"by": request.user, "at": clock.now(), "key": posted_key(request)}
        try:
            right = services.correct_reading(reading_id=reading.pk, **form.cleaned_data, **who)
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"Corrected: {right.shown} instead of {reading.shown}.")
            return redirect(sheet_address(reading.pair.specimen.request, reading.stage))
    context = {"reading": reading, "form": form, "values": queries.all_values(reading)}
    return render(request, "measuring/correct.html", context, status=422 if form.is_bound else 200)


@require_safe
@role_required(*STAFF_ROLES)
def results(request: HttpRequest, code: str) -> HttpResponse:
    """What the readings of a request come to, from the report's figures down to the single pair."""
    sample = sample_of(request, code)
    order = request_of(sample, request.GET.get("request", ""))
    if order is None:
        return render(request, "measuring/no_request.html", {"sample": sample})
    result = queries.results_of([order])[order.pk]
    others = list(sample.requests.select_related("method").order_by("ordinal"))
    extras = queries.extras_of([order]).get(order.pk)
    context = {"order": order, "others": others, "result": result, "extras": extras, **pages.of_results(result)}
    return render(request, "measuring/results.html", context)


def sheet_page(
    request: HttpRequest, sheet: queries.Sheet, form: SheetForm, *, lost_form: LostMarkForm | None = None, status=200
) -> HttpResponse:
    others = list(sheet.request.sample.requests.select_related("method").order_by("ordinal"))
    context = {
        "sheet": sheet,
        "order": sheet.request,
        "others": others,
        "form": form,
        "lost_form": lost_form or LostMarkForm(sheet=sheet),
        "may_write": may_write(request) and sheet.may_change,
        "conditioning": queries.conditioning(sheet.request) if sheet.due else [],
        "blind": is_blind(request),
        "has_extras": bool(queries.extras_offered(sheet.request)),
        "tablet": tablet.tablet(request),
        **pages.of_sheet(sheet, form, is_blind(request), queries.rests_on(sheet, at=clock.now())),
    }
    return render(request, "measuring/readings.html", context, status=status)


def sample_of(request: HttpRequest, code: str) -> Sample:
    return get_object_or_404(Sample.objects.visible_to(request.user).select_related("job"), code=code)


def request_of(sample: Sample, ordinal: str) -> Request | None:
    """The request of this number; without a number the first that waits for the bench, else the first."""
    orders = list(
        sample.requests.select_related("sample__job", "method", "procedure", "drying", "contract_review")
        .prefetch_related("specimens")
        .order_by("ordinal")
    )
    if ordinal:
        return one_of({str(order.ordinal): order for order in orders}, ordinal)
    waiting = (order for order in orders if queries.due_stages(order.specimens.all()))
    return next(waiting, orders[0] if orders else None)


def stage_of(order: Request, text: str) -> int:
    if not text:
        return queries.stage_to_open(order)
    return one_of({str(stage): stage for stage in (0, *order.measured_cycles)}, text)


def one_of(known: dict, text: str):
    if text not in known:
        raise Http404
    return known[text]


def posted_sheet(request: HttpRequest, code: str) -> tuple[Request, int]:
    """Which sheet was sent: the page says it in hidden fields."""
    order = request_of(sample_of(request, code), request.POST.get("request", "") or "none")
    return order, stage_of(order, request.POST.get("stage", "") or "none")


def sheet_address(order: Request, stage: int, *, blind: bool = False) -> str:
    address = reverse("measuring:readings", args=[order.sample.code])
    hidden = "&before=hidden" if blind else ""
    return f"{address}?request={order.ordinal}&stage={stage}{hidden}"


def sent(request: HttpRequest) -> QueryDict | None:
    return request.POST if request.method == "POST" else None


def may_write(request: HttpRequest) -> bool:
    return bool(request.user.roles & WRITERS)


def when(form) -> datetime:
    """The moment typed, or now."""
    return form.cleaned_data["at"] or clock.now()
