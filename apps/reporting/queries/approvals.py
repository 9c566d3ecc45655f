"""What lies on the manager's desk."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import F, QuerySet

from apps.accounts.models import User
from apps.accounts.queries import the_lab
from apps.intake.models import Job, Request, SendBack
from apps.measuring.models import Reading
from apps.measuring.queries import results_of
from apps.reporting.facts import Facts, freeze, seen
from apps.reporting.facts.request import RequestFacts
from apps.reporting.facts.unusual import Notice, outliers, unusual
from apps.reporting.queries.looked_into import looked_into
from apps.reporting.queries.readiness import begun, finished, obstacles


@dataclass(frozen=True)
class Standing:
    """A request of a job on the desk. Without obstacles it is ready."""

    request: Request
    obstacles: list[str]

    @property
    def short(self) -> str:
        return f"{self.request.sample.letter}/{self.request.ordinal}"

    @property
    def state(self) -> str:
        if self.request.lock == Request.Lock.LOCKED:
            return "issued"
        return "half" if self.obstacles else "due"


@dataclass(frozen=True)
class OnTheDesk:
    job: Job
    standings: list[Standing]

    @property
    def ready(self) -> list[Standing]:
        return [s for s in self.standings if not s.obstacles and s.request.lock != Request.Lock.LOCKED]


def ready_for_approval(user: User) -> QuerySet[Job]:
    """Jobs with a request whose specimens are all through: urgent ones first, then by what is due."""
    through = finished(Request.objects.visible_to(user)).values("sample__job_id")
    jobs = Job.objects.visible_to(user).filter(pk__in=through).select_related("customer")
    return jobs.order_by(F("priority").desc(), F("due_on").asc(nulls_last=True), "number")


def on_the_desk(jobs: Iterable[Job]) -> list[OnTheDesk]:
    """These jobs with all their requests, and what each waits for. As many queries for one job as for fifty."""
    jobs = list(jobs)
    requests = defaultdict(list)
    rows = Request.objects.filter(sample__job__in=jobs).select_related("sample", "method", "contract_review")
    for request in rows.order_by("sample_id", "ordinal"):
        requests[request.sample.job_id].append(request)
    found = obstacles([r for rows in requests.values() for r in rows if r.lock != Request.Lock.LOCKED])
    return [OnTheDesk(job, [Standing(r, found.get(r.pk, [])) for r in requests[job.pk]]) for job in jobs]


def sent_back(user: User) -> QuerySet[SendBack]:
    """Work sent back that nobody has answered yet, longest first."""
    rows = SendBack.objects.filter(answered_at=None, request__in=Request.objects.visible_to(user))
    return rows.select_related("request__sample__job__customer", "by").order_by("at", "pk")


@dataclass(frozen=True)
class Reviewed:
    """One request as the manager looks at it: what the report would say, and what stands in its way."""

    request: Request
    facts: RequestFacts
    obstacles: list[str]
    mark: str
    send_backs: list[SendBack]
    open_send_back: bool
    interim_obstacles: list[str]

    @property
    def may_interim(self) -> bool:
        """The work goes on, and an interim report may tell how far it is."""
        return bool(self.obstacles) and not self.interim_obstacles and not self.is_amended

    @property
    def ready(self) -> bool:
        return not self.obstacles

    @property
    def outliers_told(self) -> list[str]:
        """What the test for outliers says of each result, also where it has too few values to say much."""
        return [told.sentence for told in outliers(self.facts)]

    @property
    def is_amended(self) -> bool:
        return self.request.lock == Request.Lock.AMENDING


@dataclass(frozen=True)
class Review:
    """A job as the manager looks at it before approving. `facts` is None while no request is through."""

    job: Job
    requests: list[Request]
    facts: Facts | None
    reviewed: list[Reviewed]
    waiting: list[Standing]
    issued: list[Standing]
    notices: list[Notice]
    at_risk: list[dict[str, Any]]

    @property
    def ready(self) -> list[Reviewed]:
        return [one for one in self.reviewed if one.ready]

    @property
    def offered(self) -> list[Reviewed]:
        """What may go into a report, if only into an interim one."""
        return [one for one in self.reviewed if one.ready or one.may_interim]

    @property
    def proposed(self) -> list[Reviewed]:
        """What is ticked at first: all that is ready, or an amended report alone, which goes out whole."""
        return [one for one in self.ready if one.is_amended] or self.ready


def read_by(job: Job, user: User) -> bool:
    """Whether this person read values that the reports still to come rest on, in a lab where somebody else approves."""
    own = Reading.objects.filter(pair__specimen__request__sample__job=job, voided_at=None, read_by=user)
    still = own.exclude(pair__specimen__request__lock=Request.Lock.LOCKED)
    return not the_lab().reader_may_approve and still.exists()


def review(job: Job) -> Review:
    """The draft of a report on all requests of the job that are through, from the very code that freezes one."""
    requests = list(
        Request.objects.filter(sample__job=job)
        .select_related("sample__job", "method", "procedure", "drying", "contract_review")
        .order_by("sample_id", "ordinal")
    )
    of_job = Request.objects.filter(sample__job=job)
    seen_here = set((finished(of_job) | begun(of_job)).values_list("pk", flat=True))
    looked_at = [request for request in requests if request.pk in seen_here]
    others = [request for request in requests if request.pk not in seen_here]
    open_ones = [request for request in others if request.lock != Request.Lock.LOCKED]
    found = obstacles(open_ones)
    standing = {
        "waiting": [Standing(request, found[request.pk]) for request in open_ones],
        "issued": [Standing(request, []) for request in others if request.lock == Request.Lock.LOCKED],
    }
    if not looked_at:
        return Review(job, requests, None, [], **standing, notices=[], at_risk=[])
    facts = Facts(freeze(looked_at))
    return Review(
        job,
        requests,
        facts,
        _reviewed(looked_at, facts),
        **standing,
        notices=[*looked_into(looked_at), *unusual(facts)],
        at_risk=[row for row in facts.deviations if row["at_risk"] and not row["judged_at"]],
    )


def _reviewed(requests: list[Request], facts: Facts) -> list[Reviewed]:
    results = results_of(requests)
    found, found_interim = obstacles(requests, results), obstacles(requests, results, interim=True)
    told = {request.code: request for request in facts.requests}
    history = defaultdict(list)
    for row in SendBack.objects.filter(request__in=requests).select_related("by", "answered_by"):
        history[row.request_id].append(row)
    return [
        Reviewed(
            request=request,
            facts=told[str(request)],
            obstacles=found[request.pk],
            mark=seen(facts.data, str(request)),
            send_backs=history[request.pk],
            interim_obstacles=found_interim[request.pk],
            open_send_back=any(row.answered_at is None for row in history[request.pk]),
        )
        for request in requests
    ]
