"""Who rests on the rack, since when, and from when on it may be measured."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Q, QuerySet

from apps.accounts.models import User
from apps.calc.schedule import conditioning_for
from apps.equipment.models import Equipment
from apps.equipment.queries import air_record, rules_at
from apps.intake.models import Request, Specimen
from apps.measuring.models import ConditioningRule, RackStay, Reading, Weighing
from apps.measuring.queries.due import stage_words
from apps.measuring.rest import Air, Rest, rest_of

Stage = Specimen.Stage


def rule_in_force() -> ConditioningRule | None:
    return ConditioningRule.objects.select_related("by").first()


def rests(of: Mapping[Specimen, tuple[int, datetime]]) -> dict[int, Rest]:
    """How each specimen (with its request and sample) stands at a stage and a moment, by its key.

    As many queries for one as for many, and two more for each conditioning room they lie in.
    """
    stays = _newest_stays(of)
    weighings: dict[tuple[int, int], list[Weighing]] = defaultdict(list)
    for weighing in Weighing.objects.filter(specimen__in=[stay.specimen_id for stay in stays.values()]):
        weighings[weighing.specimen_id, weighing.stage].append(weighing)
    rule = rule_in_force() or ConditioningRule()
    air = _air(stays.values(), max((at for _, at in of.values()), default=None))
    return {
        specimen.pk: rest_of(
            stays.get(specimen.pk),
            conditioning_for(specimen.request.sample.fibre),
            air=air.get(stays[specimen.pk].room_id) if specimen.pk in stays else None,
            excursions=rule.excursions,
            gaps=rule.gaps,
            weighings=weighings[specimen.pk, stage],
            at=at,
        )
        for specimen, (stage, at) in of.items()
    }


def _newest_stays(of: Mapping[Specimen, tuple[int, datetime]]) -> dict[int, RackStay]:
    """The newest stay of each specimen at its stage that was begun by its moment."""
    found: dict[int, RackStay] = {}
    wanted = {specimen.pk: asked for specimen, asked in of.items()}
    for stay in RackStay.objects.filter(specimen__in=wanted).select_related("room", "by").order_by("id"):
        stage, at = wanted[stay.specimen_id]
        if stay.stage == stage and stay.since <= at:
            found[stay.specimen_id] = stay
    return found


def _air(stays: Iterable[RackStay], until: datetime | None) -> dict[int, Air]:
    """What is known of the air of each room since the first of its specimens came in."""
    since: dict[Equipment, datetime] = {}
    for stay in stays:
        if stay.room:
            since[stay.room] = min(stay.since, since.get(stay.room, stay.since))
    rules = rules_at(since, until) if since and until else {}
    return {
        room.pk: Air(air_record(room, first, until), rules[room.pk].band, rules[room.pk].longest)
        for room, first in since.items()
    }


def due_to_rest(user: User) -> QuerySet[Specimen]:
    """Specimens whose readings are due, in the bench's order: they rest before they are read."""
    open_ones = Q(request__lock=Request.Lock.OPEN) | Q(
        request__lock=Request.Lock.AMENDING, request__opened_for=Request.OpenedFor.READINGS
    )
    return (
        Specimen.objects.visible_to(user)
        .filter(open_ones, stage__in=(Stage.MARKED, Stage.OWED))
        .select_related("request__sample__job", "request__method")
        .order_by(F("request__sample__job__due_on").asc(nulls_last=True), "request_id", "number")
    )


@dataclass(frozen=True)
class RackRow:
    specimen: Specimen
    stage: int
    words: str
    rest: Rest


def stage_due(specimen: Specimen) -> int:
    """The stage that is to be read next; specimens that only just lie in the room have none of their own yet."""
    return 0 if specimen.stage == Stage.MARKED else specimen.cycles_valid


def rack_rows(specimens: Iterable[Specimen], *, at: datetime) -> list[RackRow]:
    specimens = list(specimens)
    found = rests({specimen: (stage_due(specimen), at) for specimen in specimens})
    return [
        RackRow(specimen, stage_due(specimen), stage_words(stage_due(specimen)), found[specimen.pk])
        for specimen in specimens
    ]


@dataclass(frozen=True)
class Rested:
    """How a specimen had rested when it was first read at a stage."""

    specimen: Specimen
    stage: int
    rest: Rest


def rested(requests: Iterable[Request]) -> dict[int, list[Rested]]:
    """By request: how its specimens rested before each stage, as far as the book knows."""
    first: dict[tuple[int, int], datetime] = {}
    readings = Reading.objects.in_force().filter(pair__specimen__request__in=list(requests))
    for specimen_id, stage, at in readings.values_list("pair__specimen", "stage", "at"):
        first[specimen_id, stage] = min(at, first.get((specimen_id, stage), at))
    stays = RackStay.objects.filter(specimen__request__in=list(requests)).select_related("room", "by")
    kept = {(stay.specimen_id, stay.stage) for stay in stays}
    specimens = Specimen.objects.filter(pk__in={key for key, _ in kept}).select_related("request__sample")
    by_key = {specimen.pk: specimen for specimen in specimens}
    told: dict[int, list[Rested]] = defaultdict(list)
    for stage in sorted({stage for _, stage in kept}):
        asked = {
            by_key[key]: (stage, first[key, stage]) for key, at in sorted(kept) if at == stage and (key, stage) in first
        }
        found = rests(asked)
        for specimen in asked:
            if found[specimen.pk].stay:
                told[specimen.request_id].append(Rested(specimen, stage, found[specimen.pk]))
    return told
