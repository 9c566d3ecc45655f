"""Who signs for which method."""

from collections.abc import Iterable

from django.db.models import Prefetch, Q, QuerySet

from apps.accounts.models import User
from apps.intake.models import Request
from apps.methods.models import TestMethod
from apps.reporting.models import Signatory


def signatories() -> QuerySet[TestMethod]:
    """Editions that are offered or were signed for, each with who signs now (`signing`), deputies last."""
    rows = Signatory.objects.filter(ended_at=None).select_related("person", "by")
    signing = Prefetch("signatories", rows.order_by("deputy", "person__full_name"), to_attr="signing")
    known = TestMethod.objects.filter(Q(retired=False) | Q(signatories__isnull=False)).distinct()
    return known.prefetch_related(signing).order_by("designation", "edition", "pk")


def lacking(requests: Iterable[Request], user: User) -> list[str]:
    """The methods among these requests that this person does not sign for."""
    wanted = {request.method_id: str(request.method) for request in requests}
    signs = Signatory.objects.filter(method__in=wanted, person=user, ended_at=None).values_list("method_id", flat=True)
    return sorted({name for pk, name in wanted.items() if pk not in set(signs)})


def managers() -> QuerySet[User]:
    """Who may be granted to sign."""
    return User.objects.filter(manager=True, is_active=True).order_by("full_name", "pk")
