"""The calibration calendar: what falls due, the most urgent first."""

from datetime import date, timedelta

from django.db.models import Case, F, IntegerField, QuerySet, Value, When

from apps.equipment.models import Equipment
from apps.equipment.queries.machines import with_state

SOON = timedelta(days=30)

# The groups of the page, in its order.
UNFIT, OVERDUE, DUE_SOON, LATER, NOTHING_DUE, OUT = range(6)
GROUPS = {
    UNFIT: "Found not fit for use",
    OVERDUE: "Overdue",
    DUE_SOON: "Due within 30 days",
    LATER: "Due later",
    NOTHING_DUE: "Nothing is due",
    OUT: "Out of service",
}


def calendar(*, on: date) -> QuerySet[Equipment]:
    """All equipment with `group` (a key of GROUPS), in the order of the calendar: what is out of service comes last."""
    group = Case(
        When(out_because__isnull=False, then=Value(OUT)),
        When(fit=False, then=Value(UNFIT)),
        When(is_overdue=True, then=Value(OVERDUE)),
        When(due_on__lte=on + SOON, then=Value(DUE_SOON)),
        When(due_on__isnull=False, then=Value(LATER)),
        default=Value(NOTHING_DUE),
        output_field=IntegerField(),
    )
    return with_state(on=on).annotate(group=group).order_by("group", F("due_on").asc(nulls_first=True), "kind", "name")
