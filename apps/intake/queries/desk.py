"""What the front desk's pages see."""

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.utils import timezone

from apps.accounts.models import Customer, Lab, User
from apps.calc.errors import CalcError
from apps.calc.numbering import check_char
from apps.calc.schedule import Conditioning, WorkingHours, conditioning_for, earliest_finish
from apps.intake.models import Deviation, Job, Request, Sample, SamplePlace, SendBack, Specimen
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod

MOST_SUGGESTIONS = 500
NUMBER = re.compile(r"(\d{2})-?(\d{1,5}[0-9A-Z]?)")

# How far: what is told of a job in the list, in the order of the work.
STAGE_WORDS = {
    Specimen.Stage.CUT: "to be marked",
    Specimen.Stage.MARKED: "to be read before washing",
    Specimen.Stage.READY: "may be washed",
    Specimen.Stage.IN_LOAD: "in a load",
    Specimen.Stage.OWED: "readings due",
    Specimen.Stage.DONE: "done",
    Specimen.Stage.SET_ASIDE: "set aside",
}


# The list


@dataclass
class JobRow:
    """One line of the list: a job, whether it is late, and how far its samples are."""

    job: Job
    late: bool
    due_today: bool
    open: bool
    marks: list[tuple[str, str]] = field(default_factory=list)  # code of a state, words


def received_jobs(*, user: User, text: str = "", everything: bool = False) -> QuerySet[Job]:
    """What came in, newest first: jobs with work left, or all; each word of `text` occurs somewhere in each."""
    going = Request.objects.exclude(lock=Request.Lock.LOCKED)
    samples = Sample.objects.filter(job=OuterRef("pk")).order_by().values("job").annotate(n=Count("pk"))
    jobs = Job.objects.visible_to(user).annotate(
        n_samples=Coalesce(Subquery(samples.values("n")), 0),
        is_open=Q(unasked=True) | Exists(going.filter(sample__job=OuterRef("pk"))),
    )
    if not everything:
        # Both from short indexes, whatever lies behind.
        unasked = Job.objects.filter(unasked=True).order_by().values("pk")
        jobs = jobs.filter(pk__in=going.order_by().values("sample__job").union(unasked))
    for word in text.split()[:10]:
        jobs = jobs.filter(_has_word(word))
    return jobs.select_related("customer").order_by("-number")


def _has_word(word: str) -> Q:
    samples = Sample.objects.filter(job=OuterRef("pk"), description__icontains=word)
    found = Q(number__icontains=word) | Q(customer__name__icontains=word) | Q(purchase_order__icontains=word)
    if number := NUMBER.fullmatch(word.upper()):
        found |= Q(number__startswith=f"{number[1]}-{number[2]}")
    return found | Exists(samples)


def job_rows(jobs: Iterable[Job], *, today: date) -> list[JobRow]:
    """The lines of one page: two more queries, however many jobs."""
    jobs = list(jobs)
    rows = {
        job.pk: JobRow(
            job=job,
            late=job.is_open and job.due_on is not None and job.due_on < today,
            due_today=job.is_open and job.due_on == today,
            open=job.is_open,
        )
        for job in jobs
    }
    of_requests = (
        Request.objects.filter(sample__job__in=rows)
        .order_by()
        .values("sample__job", "lock")
        .annotate(
            n=Count("pk", distinct=True),
            uncut=Count("pk", distinct=True, filter=Q(specimens__isnull=True, cancellation__isnull=True)),
            waiting=Count("pk", distinct=True, filter=Q(contract_review__agreed=False)),
        )
    )
    of_specimens = (
        Specimen.objects.filter(request__sample__job__in=rows)
        .order_by()
        .values("request__sample__job", "request__lock", "stage")
        .annotate(n=Count("pk"))
    )
    _mark(rows, list(of_requests), list(of_specimens))
    return list(rows.values())


def _mark(rows: dict[int, JobRow], of_requests: list[dict], of_specimens: list[dict]) -> None:
    open_stages: dict[tuple[int, str], int] = defaultdict(int)
    for line in of_specimens:
        if line["request__lock"] != Request.Lock.LOCKED:
            open_stages[line["request__sample__job"], line["stage"]] += line["n"]
    for line in of_requests:
        marks = rows[line["sample__job"]].marks
        if line["lock"] == Request.Lock.AMENDING:
            marks.append(("amending", f"{line['n']} open for an amendment"))
        if line["lock"] == Request.Lock.OPEN and line["waiting"]:
            marks.append(("triangle", f"{line['waiting']} not agreed yet"))
        if line["lock"] == Request.Lock.OPEN and line["uncut"]:
            marks.append(("open", f"{line['uncut']} to be cut"))
    for stage, words in STAGE_WORDS.items():
        for pk, row in rows.items():
            if number := open_stages.get((pk, stage)):
                row.marks.append((str(stage), f"{number} {words}"))
    for line in of_requests:
        if line["lock"] == Request.Lock.LOCKED:
            rows[line["sample__job"]].marks.append(("issued", f"{line['n']} reported"))


def waiting_send_backs(*, user: User, to: str) -> QuerySet[SendBack]:
    """Requests that the manager sent back to this room and that wait for its answer, the oldest first."""
    return (
        SendBack.objects.visible_to(user)
        .filter(to=to, answered_at__isnull=True)
        .select_related("request__sample__job", "request__method", "by")
        .order_by("at", "id")
    )


# The page of a job that comes in


@dataclass(frozen=True)
class Catalogue:
    """What may be asked for, by key as a form sends it. Read once a page."""

    methods: Mapping[str, TestMethod]
    procedures: Mapping[str, LaunderingProcedure]
    dryings: Mapping[str, DryingProcedure]


def catalogue(keep: Request | None = None) -> Catalogue:
    """Everything that is offered; with `keep` also what that request already has, though it be retired."""

    def offered(model: Any, kept: int | None) -> dict[str, Any]:
        return {str(row.pk): row for row in model.objects.filter(Q(retired=False) | Q(pk=kept))}

    return Catalogue(
        methods=offered(TestMethod, keep.method_id if keep else None),
        procedures=offered(LaunderingProcedure, keep.procedure_id if keep else None),
        dryings=offered(DryingProcedure, keep.drying_id if keep else None),
    )


def customer_names() -> list[str]:
    """Names to choose from while typing; a lab with more customers than that still types the name in full."""
    return list(Customer.objects.order_by("name").values_list("name", flat=True)[:MOST_SUGGESTIONS])


@dataclass(frozen=True)
class Way:
    """The shortest way of one request, and what it was reckoned from."""

    label: str
    conditioning: Conditioning
    wash_minutes: int
    drying: str
    finish: datetime | None  # on the lab's clock, without a zone
    trouble: str = ""

    @property
    def day(self) -> date | None:
        return self.finish.date() if self.finish else None


def way_to_finish(
    *,
    lab: Lab,
    start: datetime,
    label: str,
    fibre: str,
    drying: DryingProcedure,
    cycles: int,
    measured_after: Iterable[int],
) -> Way:
    """The earliest that a request can be finished, were everything free at once. `start` carries its time zone."""
    rest = conditioning_for(fibre)
    minutes = lab.tumble_minutes if drying.needs_machine else lab.air_dry_hours * 60
    told = f"{drying}, {lab.tumble_minutes} minutes" if drying.needs_machine else f"{drying}, {lab.air_dry_hours} hours"
    finish, trouble = None, ""
    try:
        finish = earliest_finish(
            start=timezone.localtime(start).replace(tzinfo=None, second=0, microsecond=0),
            cycles=cycles,
            measured_after=set(measured_after),
            wash=timedelta(minutes=lab.wash_minutes),
            dry=timedelta(minutes=minutes),
            dries_alone=not drying.needs_machine,
            conditioning=timedelta(hours=rest.hours),
            hours=WorkingHours(lab.opens_at, lab.closes_at),
        ).finish
    except CalcError as error:
        trouble = str(error)
    return Way(label, rest, lab.wash_minutes, told, finish, trouble)


def earliest_for(job: Job, lab: Lab) -> date | None:
    """The earliest day on which everything that was asked for a job can be done, from its receipt on."""
    return latest(
        way_to_finish(
            lab=lab,
            start=job.received_at,
            label=str(request),
            fibre=request.sample.fibre,
            drying=request.drying,
            cycles=request.cycles,
            measured_after=request.measured_cycles,
        )
        for request in Request.objects.filter(sample__job=job).select_related("sample", "drying")
    )


def latest(ways: Iterable[Way]) -> date | None:
    """The day on which the slowest is done; None when no way is known."""
    return max((way.day for way in ways if way.day), default=None)


# The acknowledgement and the sample


def job_for_acknowledgement(user: User) -> QuerySet[Job]:
    requests = Request.objects.select_related("method", "procedure", "drying", "contract_review__by")
    samples = Sample.objects.order_by("id").prefetch_related(Prefetch("requests", requests.order_by("ordinal")))
    return (
        Job.objects.visible_to(user)
        .select_related("customer", "received_by")
        .prefetch_related(Prefetch("samples", samples))
    )


def job_for_labels(user: User) -> QuerySet[Job]:
    """A job with all that can carry a label."""
    related = ("request__sample", "request__method", "request__procedure", "request__drying")
    specimens = Specimen.objects.select_related(*related).order_by("number")
    requests = Request.objects.prefetch_related(Prefetch("specimens", specimens)).order_by("ordinal")
    samples = Sample.objects.select_related("job").prefetch_related(Prefetch("requests", requests)).order_by("id")
    return Job.objects.visible_to(user).prefetch_related(Prefetch("samples", samples))


# Words at the desk -> what must be seen to. Machine manuals and site rules go before these.
DANGERS = {
    "battery batteries heated led": "Batteries and heated parts: taken out before anything is washed.",
    "pin pins needle needles staples": "Pins, needles and staples: looked for and taken out before anything is washed.",
    "oil oily grease greasy solvent wax": "Oil, grease or solvent: no tumble drying before it is known to be safe; "
    "such cloth can heat itself.",
    "mould mouldy infested moth moths worn": "Mould, infestation or worn articles: kept apart, handled with gloves.",
}
OF_GARMENTS = "Garments: batteries, heated parts, pins and needles are looked for before anything is washed."


def cautions(samples: Iterable[Sample]) -> list[str]:
    """What must be seen to before work, from what was written down at the desk."""
    samples = list(samples)
    words = {
        word
        for sample in samples
        for text in (sample.description, sample.condition, sample.fault)
        for word in re.findall(r"[a-z]+", text.casefold())
    }
    found = [OF_GARMENTS] if any(sample.kind == Sample.Kind.GARMENT for sample in samples) else []
    return found + [sentence for names, sentence in DANGERS.items() if words & set(names.split())]


def sample_page(user: User) -> QuerySet[Sample]:
    """A sample with its requests, specimens, places and deviations: the same few queries for any number."""
    specimens = Specimen.objects.select_related("request").order_by("number")
    requests = (
        Request.objects.select_related("method", "procedure", "drying", "contract_review__by")
        .prefetch_related(Prefetch("specimens", specimens))
        .order_by("ordinal")
    )
    return (
        Sample.objects.visible_to(user)
        .select_related("job__customer", "job__received_by")
        .prefetch_related(
            Prefetch("requests", requests),
            Prefetch("places", SamplePlace.objects.select_related("by").order_by("-since", "-id")),
        )
    )


def deviations_of(sample: Sample) -> QuerySet[Deviation]:
    """What was done otherwise with this sample, and with its job as a whole."""
    about = Q(request__sample=sample) | Q(specimen__request__sample=sample)
    of_the_job = Q(request__isnull=True, specimen__isnull=True)
    rows = Deviation.objects.filter(about | of_the_job, job=sample.job_id)
    rows = rows.select_related("by", "judged_by", "request", "specimen")
    return rows.order_by("at", "id")


def send_backs_of(sample: Sample) -> QuerySet[SendBack]:
    rows = SendBack.objects.filter(request__sample=sample).select_related("request", "by", "answered_by")
    return rows.order_by("at", "id")


def label_code(code: str) -> str:
    """What a label carries: the code and a check character over the whole of it."""
    return code + check_char(code)


LIMITS = ("length_lower", "length_upper", "width_lower", "width_upper")


@dataclass(frozen=True)
class WayShown:
    """A way of testing as it is told on paper and on the sample's page."""

    row: Request
    measured: str
    limits: str
    step: str
    between: str  # limits that lie between two figures that the method can report


def way_shown(row: Request) -> WayShown:
    step = row.method.rounding_step
    odd = [name.split("_") for name in LIMITS if (limit := getattr(row, name)) is not None and limit % step]
    return WayShown(
        row=row,
        measured=_listed([str(cycle) for cycle in row.measured_cycles]),
        limits=_listed([told for told in (_limits_told(row, "length"), _limits_told(row, "width")) if told]),
        step=_short(step),
        between=_listed([f"the {end} limit of the {direction}" for direction, end in odd]),
    )


def _limits_told(row: Request, direction: str) -> str:
    lower, upper = row.limits(direction)
    if lower is not None and upper is not None:
        return f"{direction} from {_limit(lower)} to {_limit(upper)} %"
    if lower is not None:
        return f"{direction} not below {_limit(lower)} %"
    return f"{direction} not above {_limit(upper)} %" if upper is not None else ""


def _limit(figure: Decimal) -> str:
    """Growth carries its plus, as in the report."""
    return f"+{_short(figure)}" if figure > 0 else _short(figure)


def _short(figure: Decimal) -> str:
    """A stored limit as people write it: "−3.0", "2.75", "0.1"."""
    whole, _, decimals = format(abs(figure), "f").partition(".")
    sign = "\N{MINUS SIGN}" if figure < 0 else ""
    return f"{sign}{whole}.{decimals.rstrip('0') or '0'}"


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
