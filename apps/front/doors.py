"""Which page a person wants when something is scanned: where their hands have something to do with it."""

from urllib.parse import parse_qs, urlencode, urlsplit

from django.urls import reverse

from apps.accounts.models import Role, User
from apps.front.queries import Found
from apps.intake.models import Request, Sample, Specimen
from apps.laundering.models import LoadPiece
from apps.laundering.queries import drum_of
from apps.measuring.queries import due_stages

MOST_TICKED = 50


def address(found: Found, user: User, came_from: str = "") -> str:
    """Bench and laundry first, each as far as something waits there; then the desk's sample, the manager's job.

    `came_from`: the page it was scanned on. In the queue, pieces scanned one after another stay ticked.
    """
    if found.kind == "job":
        return reverse("front:job", args=[found.job])
    if found.kind == "load":
        return reverse("laundering:load", args=[found.code])
    pieces = _pieces(found)
    door = ""
    if Role.BENCH in user.roles:
        door = _bench(found, pieces)
    if not door and Role.LAUNDRY in user.roles:
        door = _laundry(user, pieces, came_from)
    if door:
        return door
    if found.kind == "specimen" and Role.BENCH in user.roles:
        return _readings(found.thing.request, found.code)
    if user.roles <= {Role.MANAGER}:
        return reverse("front:job", args=[found.job])
    return reverse("intake:sample", args=[found.code])


def _pieces(found: Found) -> list[Specimen]:
    if found.kind == "specimen":
        return [found.thing]
    rows = Specimen.objects.filter(request__sample=found.thing).select_related("request")
    return list(rows.order_by("request__ordinal", "number"))


def _bench(found: Found, pieces: list[Specimen]) -> str:
    """The readings that are due, or where it is to be marked or cut."""
    open_ones = [piece for piece in pieces if piece.request.lock != Request.Lock.LOCKED]
    for stage, due in due_stages(open_ones).items():
        return _readings(due[0].request, found.code, stage)
    to_mark = [piece.request for piece in open_ones if piece.stage == Specimen.Stage.CUT]
    if found.kind == "sample" and not to_mark:
        to_mark = _to_cut(found.thing)
    return reverse("measuring:cut", args=[found.code, to_mark[0].ordinal]) if to_mark else ""


def _to_cut(sample: Sample) -> list[Request]:
    return list(
        sample.requests.filter(lock=Request.Lock.OPEN, specimens=None, cancellation=None).order_by("ordinal")[:1]
    )


def _readings(request: Request, code: str, stage: int | None = None) -> str:
    asked = {"request": request.ordinal} | ({} if stage is None else {"stage": stage})
    return f"{reverse('measuring:readings', args=[code])}?{urlencode(asked)}"


def _laundry(user: User, pieces: list[Specimen], came_from: str) -> str:
    """The load it is in, or the queue with it ticked."""
    loads = LoadPiece.objects.filter(specimen__in=pieces, open=True).order_by("load_id").values_list("load", flat=True)
    if load := loads.first():
        return reverse("laundering:load", args=[load])
    waiting = [piece.pk for piece in pieces if piece.stage == Specimen.Stage.READY]
    drum, together = drum_of(user, waiting) if waiting else (None, [])
    if drum is None:
        return ""
    queue = reverse("laundering:queue")
    before = _ticked(came_from, queue, str(drum))
    ticks = list(dict.fromkeys([*before, *together]))[-MOST_TICKED:]
    return f"{queue}?{urlencode({'group': str(drum), 'tick': ticks}, doseq=True)}"


def _ticked(came_from: str, queue: str, group: str) -> list[int]:
    """What was ticked by scanning before, on the same group's page."""
    try:
        there = urlsplit(came_from)
    except ValueError:
        return []
    asked = parse_qs(there.query)
    if there.path != queue or asked.get("group") != [group]:
        return []
    return [int(tick) for tick in asked.get("tick", []) if tick.isascii() and tick.isdigit() and len(tick) < 12]
