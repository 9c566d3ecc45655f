"""What the pages that look into every room see."""

from django.db.models import Prefetch, QuerySet

from apps.accounts.models import Role, User
from apps.front.queries.codes import Found, near, resolve_code, search, slip
from apps.intake.models import Job, Request, Sample, Specimen
from apps.reporting.models import Report

__all__ = ["LANDING", "Found", "job_with_everything", "near", "resolve_code", "search", "slip"]

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
