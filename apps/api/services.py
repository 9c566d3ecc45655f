"""What programs do: measuring devices send readings."""

import uuid
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from apps.accounts.models import User
from apps.api.queries import code_of_label
from apps.core.errors import KeyReused, Refusal
from apps.intake.locks import lock_requests
from apps.measuring import services as measuring
from apps.measuring.models import BenchmarkPair, Reading
from apps.trail import services as trail
from apps.trail.models import TrailEntry


@dataclass(frozen=True)
class Measured:
    """One reading as a device sends it. `specimen`: the label's code with its check character."""

    specimen: str
    direction: str
    pair: int
    stage: int
    value: str
    unit: str


class SendRefused(Refusal):
    """Readings that cannot stand: (where in what was sent, the sentence). Nothing was kept."""

    def __init__(self, sentence: str, *, each: list[tuple[str, str]], code: str) -> None:
        super().__init__(sentence, code=code, field=each[0][0])
        self.each = each


def send_readings(
    *,
    measured: Sequence[Measured],
    by: User,
    at: datetime,
    key: uuid.UUID,
    token: str,
    confirmed: bool = False,
    remark: str = "",
    late_reason: str = "",
    early_reason: str = "",
) -> tuple[list[Reading], bool]:
    """A device sends what it read, of one specimen or many: all of it is kept, or nothing.

    Gives the readings that stand, in the order sent, and whether this key had been sent before. `token`: the name of
    the token it came by, which the trail keeps.
    """
    told = {"confirmed": confirmed, "remark": remark, "late_reason": late_reason, "early_reason": early_reason}
    payload = ["sent", [list(astuple(one)) for one in measured], told]
    try:
        return _send(measured, payload, token, by=by, at=at, key=key, **told)
    except IntegrityError:
        # The same key for another job's readings, in the same moment: each held locks of its own.
        if not TrailEntry.objects.filter(key=key).exists():
            raise
        raise KeyReused("This key was already sent with other content. Make a new key for each send.") from None


@transaction.atomic
def _send(measured, payload, token, *, by, at, key, **told) -> tuple[list[Reading], bool]:
    pairs = _pairs(measured, by)
    requests = lock_requests({pair.specimen.request_id for pair in pairs})
    if done := trail.repeated(key=key, payload=payload, by=by):
        rows = Reading.objects.select_related("pair__specimen").in_bulk(done.facts["standing"])
        return [rows[pk] for pk in done.facts["standing"]], True
    sheets: dict[tuple[int, int, str], list[int]] = {}
    for place, (one, pair) in enumerate(zip(measured, pairs, strict=True)):
        sheets.setdefault((pair.specimen.request_id, one.stage, one.unit), []).append(place)
    kept: dict[int, Reading] = {}
    for (request_id, stage, unit), places in sorted(sheets.items()):
        sheet = {pairs[place].pk: place for place in places}
        entries = [measuring.Entry(pairs[place].pk, measured[place].value) for place in places]
        try:
            rows = measuring.enter_readings(
                request_id=request_id, stage=stage, unit=unit, entries=entries, by=by, at=at, **told
            )
        except Refusal as refusal:
            raise _refused(refusal, sheet) from refusal
        for row in rows:
            row.pair = pairs[sheet[row.pair_id]]
            kept[sheet[row.pair_id]] = row
    rows = [kept[place] for place in range(len(measured))]
    facts = {
        "token": token,
        "count": len(rows),
        "of": sorted({pair.specimen.short_code for pair in pairs}),
        "standing": [row.pk for row in rows],
    }
    streams = {request.sample.job.stream for request in requests}
    trail.record(stream=sorted(streams), kind="readings.sent", by=by, at=at, facts=facts, key=key, payload=payload)
    return rows, False


def _pairs(measured: Sequence[Measured], by: User) -> list[BenchmarkPair]:
    """The pair of each reading. Every one that is not there is told."""
    codes = {one.specimen: code_of_label(one.specimen) for one in measured}
    rows = BenchmarkPair.objects.visible_to(by).filter(specimen__code__in=filter(None, codes.values()))
    known = {(pair.specimen.code, pair.direction, pair.number): pair for pair in rows.select_related("specimen")}
    marked = {code for code, _, _ in known}
    found, wrong, seen = [], [], set()
    for place, one in enumerate(measured):
        code = codes[one.specimen]
        pair = known.get((code or "", one.direction, one.pair))
        if code is None:
            wrong.append((f"/readings/{place}/specimen", "The check character of this label is wrong."))
        elif code not in marked:
            wrong.append((f"/readings/{place}/specimen", "No marked specimen carries this label."))
        elif pair is None:
            wrong.append((f"/readings/{place}/pair", f"{code} has no {one.direction} {one.pair}."))
        elif (pair.pk, one.stage) in seen:
            wrong.append((f"/readings/{place}", "This pair is sent twice at the same stage."))
        else:
            seen.add((pair.pk, one.stage))
            found.append(pair)
    if wrong:
        raise SendRefused("Some readings name nothing that can be read; nothing is kept.", each=wrong, code="unknown")
    return found


def _refused(refusal: Refusal, sheet: dict[int, int]) -> Refusal:
    """A refusal of the sheet in the words of what was sent."""
    if isinstance(refusal, measuring.SheetRefused):
        each = [(f"/readings/{sheet[pair]}/value", told) for pair, told in refusal.cells.items() if pair in sheet]
        if each:
            return SendRefused(str(refusal), each=sorted(each), code=refusal.code)
    own = refusal.field in ("remark", "late_reason", "early_reason")
    refusal.field = f"/{refusal.field}" if own else f"/readings/{min(sheet.values())}"
    return refusal
