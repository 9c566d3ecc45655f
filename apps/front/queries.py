"""What the pages that look into every room see."""

from dataclasses import dataclass

from django.db.models import Prefetch, Q, QuerySet

from apps.accounts.models import Role, User
from apps.calc.numbering import check_char, is_valid
from apps.intake.models import Job, Request, Sample, Specimen
from apps.reporting.models import Report

# Where each role begins its day; a person of several roles begins at the first of these.
LANDING = {
    Role.MANAGER: "reporting:approvals",
    Role.FRONT_DESK: "intake:receiving",
    Role.BENCH: "measuring:bench",
    Role.LAUNDRY: "laundering:queue",
    Role.CUSTOMER: "portal:jobs",
}


def job_with_everything(user: User) -> QuerySet[Job]:
    """Jobs with samples, requests, specimens, deviations and reports, in a handful of queries however large the job."""
    requests = Request.objects.select_related("method", "procedure", "drying", "contract_review__by").prefetch_related(
        Prefetch("specimens", Specimen.objects.order_by("number"))
    )
    samples = Sample.objects.order_by("id").prefetch_related(Prefetch("requests", requests), "places")
    return (
        Job.objects.visible_to(user)
        .select_related("customer", "received_by")
        .prefetch_related(
            Prefetch("samples", samples),
            "deviations__by",
            "deviations__judged_by",
            Prefetch(
                "reports", Report.objects.defer("facts").select_related("approved_by", "withdrawal", "replaced_by")
            ),
        )
    )


@dataclass(frozen=True)
class Found:
    """What a code or some words may mean."""

    kind: str
    label: str
    detail: str
    job: str
    code: str


def bare(text: str) -> str:
    """Letters and digits of a code, capitals; what is no letter or digit of a code is left out."""
    return "".join(character for character in text.upper() if character.isascii() and character.isalnum())[:60]


def resolve_code(user: User, text: str) -> list[Found]:
    """Everything that a scanned or typed code names exactly, a label's full code (with its check character) first.

    The same letters may be a sample's code with its check character and a specimen's code without one; then both are
    told and the person chooses.
    """
    code = bare(text)
    exact = _find_exact(user, code[:-1]) if is_valid(code) else []
    return exact + [found for found in _find_exact(user, code) if found not in exact]


def slip(text: str) -> str:
    """What to say when a typed code names nothing: its check character tells a slip of the finger from a wrong book."""
    code = bare(text)
    if len(code) < 8 or not code[:7].isdigit():
        return ""
    if not is_valid(code[:8]):
        number = f"{code[:2]}-{code[2:7]}{check_char(code[:7])}"
        return f"{code[:2]}-{code[2:8]} is not a job's number: its check character is wrong. Did you mean job {number}?"
    return "The code is written correctly, but this lab's book has nothing under it."


def _find_exact(user: User, code: str) -> list[Found]:
    if len(code) < 8:
        return []
    dashed = f"{code[:2]}-{code[2:8]}" + (f"-{code[8:]}" if len(code) > 8 else "")
    if len(code) == 8:
        return [_job(job) for job in Job.objects.visible_to(user).filter(number=dashed).select_related("customer")]
    specimens = Specimen.objects.visible_to(user).filter(code=dashed).select_related("request__sample__job")
    samples = Sample.objects.visible_to(user).filter(code=dashed).select_related("job")
    return [_specimen(row) for row in specimens] + [_sample(row) for row in samples]


def search(user: User, text: str, limit: int = 20) -> list[Found]:
    """Jobs and samples by parts: number, customer, purchase order, description."""
    words = text.split()[:6]
    if not words:
        return []
    jobs, samples = Job.objects.visible_to(user).select_related("customer"), Sample.objects.visible_to(user)
    for word in words:
        jobs = jobs.filter(
            Q(number__icontains=word) | Q(customer__name__icontains=word) | Q(purchase_order__icontains=word)
        )
        samples = samples.filter(Q(code__icontains=word) | Q(description__icontains=word) | Q(colour__icontains=word))
    return [_job(job) for job in jobs[:limit]] + [_sample(row) for row in samples.select_related("job")[:limit]]


def _job(job: Job) -> Found:
    return Found("job", job.number, job.customer.name, job.number, job.number)


def _sample(sample: Sample) -> Found:
    return Found("sample", sample.code, sample.description, sample.job.number, sample.code)


def _specimen(specimen: Specimen) -> Found:
    return Found(
        "specimen",
        specimen.code,
        specimen.standing,
        specimen.request.sample.job.number,
        specimen.request.sample.code,
    )
