"""What a customer sees of the own jobs: how far each is, and what is reported. Never a reading before its report."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.timezone import localtime

from apps.accounts.models import User
from apps.intake.models import Job, Request, Sample, Specimen
from apps.portal.bundle import Member
from apps.reporting.models import Report
from apps.reporting.queries import Issued, issued_on, reported, reports
from apps.trail.models import Blob

Stage = Specimen.Stage

STEPS = ("Received", "Cut and marked", "Washing", "Measuring", "Being reviewed", "Reported")
RECEIVED, MARKED, WASHING, MEASURING, REVIEW, REPORTED = range(len(STEPS))
STEP_OF = {
    Stage.CUT: MARKED,
    Stage.MARKED: MARKED,
    Stage.READY: WASHING,
    Stage.IN_LOAD: WASHING,
    Stage.OWED: MEASURING,
    Stage.DONE: REVIEW,
}
# Between two cycles the readings come before the next wash.
ORDER = (Stage.CUT, Stage.MARKED, Stage.OWED, Stage.READY, Stage.IN_LOAD, Stage.DONE)


@dataclass(frozen=True)
class Progress:
    """How far a test is: the step it is at, and a note such as "cycle 2 of 3"."""

    step: int
    note: str = ""

    @property
    def is_reported(self) -> bool:
        return self.step == REPORTED and not self.note

    @property
    def word(self) -> str:
        return f"{STEPS[self.step]}, {self.note}" if self.note else STEPS[self.step]

    @property
    def shape(self) -> str:
        if self.step == REPORTED:
            return "withdrawn" if self.note else "issued"
        return {RECEIVED: "open", REVIEW: "due"}.get(self.step, "half")

    @property
    def steps(self) -> list[dict[str, str]]:
        """For the line of steps. What is reported is done."""
        states = ["done" if n < self.step or self.step == REPORTED else "now" for n in range(self.step + 1)]
        states += ["todo"] * (len(STEPS) - len(states))
        return [
            {"word": word, "state": state, "note": self.note if n == self.step else ""}
            for n, (word, state) in enumerate(zip(STEPS, states, strict=True))
        ]


def progress(request: Request, specimens: list[Specimen], report: str = "") -> Progress:
    """How far one way of testing is: as far as its specimen that has come least far. `report`: what became of it."""
    if report:
        return Progress(REPORTED, "withdrawn" if report == "withdrawn" else "")
    going = [specimen for specimen in specimens if specimen.stage != Stage.SET_ASIDE]
    if not going:
        return Progress(REVIEW if specimens else RECEIVED)
    least = min(going, key=lambda specimen: (specimen.cycles_valid, ORDER.index(Stage(specimen.stage))))
    step = STEP_OF[Stage(least.stage)]
    if step == WASHING:
        return Progress(step, f"cycle {least.cycles_valid + 1} of {request.cycles}")
    return Progress(step, f"after cycle {least.cycles_valid} of {request.cycles}" if step == MEASURING else "")


@dataclass
class Test:
    """One way of testing a sample, as the customer ordered it."""

    __test__ = False  # pytest: not a class of tests

    request: Request
    progress: Progress


@dataclass
class OwnJob:
    """A job as its customer sees it."""

    job: Job
    tests: dict[int, list[Test]] = field(default_factory=lambda: defaultdict(list))
    samples: list[Sample] = field(default_factory=list)
    reports: list[Issued] = field(default_factory=list)

    @property
    def all_tests(self) -> list[Test]:
        return [test for tests in self.tests.values() for test in tests]

    @property
    def progress(self) -> Progress:
        """How far the whole job is: as far as the test that has come least far."""
        return min((test.progress for test in self.all_tests), key=lambda p: p.step, default=Progress(RECEIVED))

    @property
    def reported_told(self) -> str:
        """ "1 of 2 tests reported", while that says more than the step."""
        done, total = sum(test.progress.is_reported for test in self.all_tests), len(self.all_tests)
        return f"{done} of {total} tests reported" if 0 < done < total else ""

    @property
    def by_sample(self) -> list[tuple[Sample, list[Test]]]:
        return [(sample, self.tests[sample.pk]) for sample in self.samples]

    @property
    def in_force(self) -> list[Issued]:
        return [issued for issued in self.reports if issued.in_force]


def found(user: User, *, part: str, only_open: bool) -> QuerySet[Job]:
    """Own jobs by a part of the number, of the own order's number or of what a sample is; or those still worked on."""
    rows = own_jobs(user)
    if only_open:
        unreported = Request.objects.filter(sample__job=OuterRef("pk")).exclude(lock=Request.Lock.LOCKED)
        no_test_yet = ~Exists(Request.objects.filter(sample__job=OuterRef("pk")))
        rows = rows.filter(Exists(unreported) | no_test_yet)
    if part:
        sample = Sample.objects.filter(job=OuterRef("pk"), description__icontains=part)
        rows = rows.filter(Q(number__icontains=part) | Q(purchase_order__icontains=part) | Exists(sample))
    return rows


def own_reports(user: User, part: str = "") -> QuerySet[Report]:
    """What was issued to this person's company, newest first, found by a part of its number or of the order's."""
    rows = reports(user).defer("facts", "replaced_by__facts").order_by("-approved_at", "-pk")
    if part:
        rows = rows.filter(Q(number__icontains=part) | Q(job__purchase_order__icontains=part))
    return rows


def issued(rows: Iterable[Report]) -> list[Issued]:
    return [Issued(report) for report in rows]


def members(user: User, numbers: list[str]) -> list[Member]:
    """The PDFs of these reports that this person may see."""
    wanted = [number for number in numbers if "\0" not in number]
    told = own_reports(user).filter(number__in=wanted, pdf__isnull=False)
    rows = list(told.values_list("number", "pdf", "approved_at"))
    sizes = dict(Blob.objects.filter(pk__in=[blob for _, blob, _ in rows]).values_list("pk", "size"))
    return [Member(f"{number}.pdf", blob, sizes[blob], localtime(at)) for number, blob, at in rows]


def own_jobs(user: User) -> QuerySet[Job]:
    """The jobs of this person's company, newest first."""
    return Job.objects.visible_to(user).defer("notes").order_by("-received_at", "-number")


def seen_by(user: User, jobs: Iterable[Job], *, with_facts: bool = False) -> list[OwnJob]:
    """These jobs as their customer sees them. As many queries for one as for fifty."""
    jobs = list(jobs)
    done, reports = reported(user, jobs), issued_on(user, jobs, with_facts=with_facts)
    specimens: dict[int, list[Specimen]] = defaultdict(list)
    rows = Specimen.objects.filter(request__sample__job__in=jobs)
    for specimen in rows.only("request_id", "stage", "cycles_valid").order_by("number"):
        specimens[specimen.request_id].append(specimen)
    own: dict[Any, OwnJob] = {job.pk: OwnJob(job, reports=reports[job.pk]) for job in jobs}
    for sample in Sample.objects.filter(job__in=jobs).order_by("pk"):
        own[sample.job_id].samples.append(sample)
    requests = Request.objects.filter(sample__job__in=jobs).select_related("sample", "method", "procedure", "drying")
    for request in requests.order_by("sample_id", "ordinal"):
        far = progress(request, specimens[request.pk], done.get(request.pk, ""))
        own[request.sample.job_id].tests[request.sample_id].append(Test(request, far))
    return list(own.values())
