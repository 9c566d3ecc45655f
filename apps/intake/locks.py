"""The lock: told once for services (Python) and once for the database (SQL). Both look at the Request row only.

Order, always: job rows by ascending key, then requests, then load, then machine, then the trail's stream.
"""

from collections.abc import Iterable

from apps.core.errors import RequestIsLocked
from apps.intake.models import Job, Request, Sample
from apps.trail.guarding import Guard, frozen_columns

SENTENCE = "the report is issued: what it rests on no longer changes"


def lock_jobs(job_ids: Iterable[int]) -> list[Job]:
    """Hold these job rows until the transaction ends. Every writer comes through here first."""
    return list(Job.objects.select_for_update(no_key=True).filter(pk__in=set(job_ids)).order_by("pk"))


def lock_sample(sample_id: int) -> Sample:
    """A sample as it is once the row of its job is held."""
    lock_jobs(Sample.objects.filter(pk=sample_id).values_list("job_id", flat=True))
    return Sample.objects.select_related("job").get(pk=sample_id)


def lock_requests(request_ids: Iterable[int]) -> list[Request]:
    """Hold these requests, after the rows of their jobs; what is returned was read after both are held."""
    ids = set(request_ids)
    lock_jobs(Request.objects.filter(pk__in=ids).values_list("sample__job_id", flat=True))
    return list(
        Request.objects.select_for_update(no_key=True, of=("self",))
        .filter(pk__in=ids)
        .select_related("sample__job", "method", "procedure", "drying", "cancellation")
        .order_by("pk")
    )


def is_open(request: Request, opened_for: str) -> bool:
    if request.lock == Request.Lock.AMENDING:
        return request.opened_for == opened_for
    return request.lock == Request.Lock.OPEN


def ensure_open(request: Request, opened_for: str) -> None:
    """Refuse a change to what an issued report rests on, unless an amendment opened just that."""
    if hasattr(request, "cancellation"):
        raise RequestIsLocked(f"{request} is cancelled: {request.cancellation.reason}")
    if is_open(request, opened_for):
        return
    if request.lock == Request.Lock.AMENDING:
        raise RequestIsLocked(f"An amendment of {request} is open, but for {request.get_opened_for_display()} only.")
    raise RequestIsLocked(
        f"The report on {request.sample.code} is issued; this can no longer change. An amendment opens it."
    )


def closed_sql(which: str, *opened_for: str) -> str:
    """Condition: one of the requests `which` (SQL after q.id) is neither open nor opened for one of these.

    Asked this way round, so that a state nobody knows is a closed one.
    """
    words = ", ".join(f"'{word}'" for word in opened_for) or "''"
    return (
        f"EXISTS (SELECT 1 FROM intake_request q WHERE q.id {which} AND q.lock <> 'open'"
        f" AND NOT (q.lock = 'amending' AND q.opened_for IN ({words})))"
    )


def frozen_with_request(
    table: str, which: str, *, opened_for: tuple[str, ...] = (), columns: tuple[str, ...] = (), inserts: bool = True
) -> list[Guard]:
    """Rows of `table` change no more once their request is locked: not in place, not by moving them in or out.

    `which` is SQL after `q.id` with {row} for OLD or NEW, such as `= {row}.request_id`. `columns`: only those freeze.
    """
    old, new = which.format(row="OLD"), which.format(row="NEW")
    hold_old, hold_new = f"intake_request q WHERE q.id {old}", f"intake_request q WHERE q.id {new}"
    closed_old, closed_new = closed_sql(old, *opened_for), closed_sql(new, *opened_for)
    update = f"({closed_old} OR {closed_new})" + (f" AND {frozen_columns(*columns)}" if columns else "")
    guards = [
        Guard(f"{table}_locked", table, "update", update, SENTENCE, (hold_old, hold_new)),
        Guard(f"{table}_locked", table, "delete", closed_old, SENTENCE, (hold_old,)),
    ]
    if inserts:
        guards.append(Guard(f"{table}_locked", table, "insert", closed_new, SENTENCE, (hold_new,)))
    return guards
