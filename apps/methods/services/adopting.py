"""A study of repeated readings becomes what results are reckoned with."""

from dataclasses import asdict, dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from apps.accounts.models import Role, User
from apps.core import clock
from apps.core.errors import Refusal
from apps.methods.models import RepeatabilityFigure, TestMethod
from apps.methods.services.locking import lock_row
from apps.trail import services as trail

FINEST = Decimal("1E-12")


@dataclass(frozen=True)
class Repeatability:
    """What a study came to: standard deviations of one reading, in percent."""

    direction: str
    scale: str
    repeatability: Decimal
    with_people: Decimal
    n: int
    people: int
    dof: int
    on: date
    study: int


@transaction.atomic
def adopt_repeatability(
    *, method_id: int, found: Repeatability, by: User, at: datetime, key: UUID | None = None
) -> RepeatabilityFigure:
    """From now on results by this edition take the reading's part of their uncertainty from this study."""
    method = lock_row(TestMethod.objects.get(pk=method_id).owner)
    payload = {"act": "adopt_repeatability", "method": method_id, "study": found.study}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return RepeatabilityFigure.objects.get(pk=done.facts["figure"])
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager adopts a figure.", code="not_manager")
    clock.check_moment(at, what="The adoption")
    if RepeatabilityFigure.objects.filter(study=found.study).exists():
        raise Refusal("This study is adopted already.", code="already_adopted")
    if found.with_people < FINEST:
        raise Refusal("All readings are equal: such a study says nothing of the reading.", code="no_spread")
    told = asdict(found)
    for name in ("repeatability", "with_people"):
        told[name] = told[name].quantize(FINEST)
    row = RepeatabilityFigure.objects.create(method=method, by=by, at=at, **told)
    facts = told | {
        "figure": row.pk,
        "repeatability": f"{row.repeatability.normalize():f}",
        "with_people": f"{row.with_people.normalize():f}",
        "on": found.on.isoformat(),
    }
    trail.record(stream=method.owner, kind="method.repeatability", by=by, at=at, facts=facts, key=key, payload=payload)
    return row
