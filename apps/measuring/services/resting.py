"""Conditioning: put on the rack, weighed, and what the lab does about bad air and haste."""

import re
import uuid
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import Role, User
from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.intake.locks import ensure_open, lock_requests
from apps.intake.models import Deviation, Request, Specimen
from apps.intake.services import deviate
from apps.measuring.models import ConditioningRule, RackStay, Weighing
from apps.measuring.queries import rests, rule_in_force, stage_due, stage_words
from apps.measuring.services.standing import check_read_at, ensure_due
from apps.trail import services as trail

Stage = Specimen.Stage
RULES = "measuring:conditioning"
GRAMS = re.compile(r"[0-9]{1,5}([.,][0-9]{1,3})?", re.ASCII)


@transaction.atomic
def put_on_rack(
    *,
    specimen_ids: Sequence[int],
    room_id: int | None,
    from_dry_side: bool = False,
    hand_ironed: str = "",
    by: User,
    at: datetime,
    key: uuid.UUID | None = None,
) -> list[RackStay]:
    """Specimens whose readings are due lie in the conditioning room from now on; put there again, they begin anew.

    `hand_ironed`: how, where they were ironed by hand before. `from_dry_side`: they came in drier than the air.
    """
    if not specimen_ids:
        raise Refusal("Scan or tick the specimens that lie on the rack.", code="no_specimen", field="codes")
    asked = set(specimen_ids)
    requests = lock_requests(Specimen.objects.filter(pk__in=asked).values_list("request_id", flat=True))
    payload = ["rack", sorted(asked), room_id, from_dry_side, hand_ironed.strip()]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return list(RackStay.objects.filter(pk__in=done.facts["stays"]).order_by("pk"))
    by_key = {request.pk: request for request in requests}
    room = _room(room_id)
    if len(hand_ironed.strip()) > 120 or "\0" in hand_ironed:
        raise Refusal("Say it in at most 120 characters.", code="too_long", field="hand_ironed")
    specimens = list(Specimen.objects.filter(pk__in=asked).order_by("request_id", "number"))
    stays = []
    for specimen in specimens:
        request = specimen.request = by_key[specimen.request_id]
        ensure_open(request, Request.OpenedFor.READINGS)
        ensure_due(specimen, stage_due(specimen), request)
        check_read_at(at, [specimen], stage_due(specimen))
        stay = RackStay.objects.create(
            specimen=specimen,
            stage=stage_due(specimen),
            room=room,
            since=at,
            from_dry_side=from_dry_side,
            hand_ironed=hand_ironed.strip(),
            by=by,
            recorded_at=clock.now(),
        )
        stays.append(stay)
    facts = {
        "specimens": [specimen.code for specimen in specimens],
        "of": ", ".join(specimen.short_code for specimen in specimens),
        "where": str(room) if room else "without a log of the air",
        "stays": [stay.pk for stay in stays],
        "hand_ironed": hand_ironed.strip(),
        "from_dry_side": from_dry_side,
    }
    streams = {request.sample.job.stream for request in requests}
    trail.record(stream=sorted(streams), kind="specimens.on_rack", by=by, at=at, facts=facts, key=key, payload=payload)
    return stays


@transaction.atomic
def weigh(*, specimen_id: int, mass: str, by: User, at: datetime, key: uuid.UUID | None = None) -> Weighing:
    """A specimen on the rack is weighed; two weighings alike, two hours apart, stand in for the hours."""
    request_id = Specimen.objects.values_list("request_id", flat=True).get(pk=specimen_id)
    (request,) = lock_requests([request_id])
    payload = ["weigh", specimen_id, mass.strip()]
    if done := trail.repeated(key=key, payload=payload, by=by):
        return Weighing.objects.get(pk=done.facts["weighing"])
    ensure_open(request, Request.OpenedFor.READINGS)
    specimen = Specimen.objects.get(pk=specimen_id)
    stage = stage_due(specimen)
    ensure_due(specimen, stage, request)
    stay = RackStay.objects.filter(specimen=specimen, stage=stage).last()
    if stay is None:
        raise Refusal(f"{specimen.short_code} does not lie on the rack yet.", code="not_on_rack", field="code")
    clock.check_moment(at, after=stay.since, what="The weighing")
    row = Weighing.objects.create(
        specimen=specimen, stage=stage, at=at, mass_g=_mass(mass), by=by, recorded_at=clock.now()
    )
    facts = {"what": f"{specimen.short_code} {stage_words(stage)}", "mass_g": row.mass_g, "weighing": row.pk}
    stream = request.sample.job.stream
    trail.record(stream=stream, kind="specimen.weighed", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


@transaction.atomic
def set_rule(
    *, excursions: str, gaps: str, early: str, by: User, at: datetime, key: uuid.UUID | None = None
) -> ConditioningRule:
    """The lab says what becomes of bad air, of pauses of the log and of haste. From now on all is looked at."""
    if Role.MANAGER not in by.roles:
        raise Refusal("The lab manager sets this rule.", code="not_allowed")
    payload = ["rule", excursions, gaps, early]
    if trail.repeated(key=key, payload=payload, by=by):
        return ConditioningRule.objects.first()
    chosen = {"excursions": excursions, "gaps": gaps, "early": early}
    for name, value in chosen.items():
        if value not in dict(ConditioningRule._meta.get_field(name).choices):
            raise Refusal("Choose one of the rules.", code="rule", field=name)
    row = ConditioningRule.objects.create(**chosen, by=by, at=at)
    trail.record(stream=RULES, kind="conditioning.rule", by=by, at=at, facts=chosen, key=key, payload=payload)
    return row


def check_conditioned(
    request: Request, specimens: Sequence[Specimen], stage: int, reason: str, *, by: User, at: datetime
) -> None:
    """Refuse a reading before its specimen is conditioned, or write it down with the reason, once a specimen and stage.

    A lab that has set no rule is asked only about specimens that lie on its rack.
    """
    rule = rule_in_force()
    for specimen in specimens:
        specimen.request = request
    found = rests({specimen: (stage, at) for specimen in specimens})
    early = [s for s in specimens if not found[s.pk].ready and (rule or found[s.pk].stay)]
    if not early:
        return
    told = "; ".join(f"{specimen.short_code}: {found[specimen.pk].words}" for specimen in early)
    if rule and rule.early == ConditioningRule.Early.REFUSE:
        raise Refusal(f"Not conditioned yet. {told}.", code="early", field="early_reason")
    if not reason.strip():
        sentence = f"Not conditioned yet. {told}. If it must be read now, say why; the report prints it."
        raise Refusal(sentence, code="early", field="early_reason")
    for specimen in early:
        _disclose(request, specimen, stage, found[specimen.pk].words, reason, by=by, at=at)


def _disclose(
    request: Request, specimen: Specimen, stage: int, words: str, reason: str, *, by: User, at: datetime
) -> None:
    begins = f"{specimen.short_code} read {stage_words(stage)} before it was conditioned"
    kind = Deviation.Kind.CONDITIONING
    if Deviation.objects.filter(specimen=specimen, kind=kind, text__startswith=begins).exists():
        return
    text = f"{begins} ({words}; read {timezone.localtime(at):%d %b %H:%M}): {reason.strip()[:300]}"
    about = {"job_id": request.sample.job_id, "request_id": request.pk, "specimen_id": specimen.pk}
    deviate(**about, kind=kind, text=text, by=by, at=at)


def _room(room_id: int | None) -> Equipment | None:
    if room_id is None:
        return None
    room = Equipment.objects.filter(pk=room_id, kind=Equipment.Kind.ROOM).first()
    if room is None:
        raise Refusal("This is no conditioning room. Choose again.", code="no_room", field="room")
    return room


def _mass(text: str) -> Decimal:
    if not (match := GRAMS.fullmatch(text.strip())) or not (mass := Decimal(match[0].replace(",", "."))):
        raise Refusal("Write the mass in grams, such as 152.34.", code="mass", field="mass")
    return mass
