"""Two operators at two tablets, each with the page as it stood when it was opened: whatever they tap and in whatever
order, the book stays right. Both tap at the same moment, each on a connection of their own."""

from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management.color import no_style
from django.db import connection
from hypothesis import HealthCheck, Phase, seed, settings, strategies
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.models import CycleLog, Drying, Load, LoadPiece
from apps.trail.queries import broken_link
from tests.cast import NOON
from tests.laundering.support import WASH, ready
from tests.racing import at_once

pytestmark = [pytest.mark.race, pytest.mark.django_db(transaction=True)]

SPECIMENS, CYCLES = 4, 3
ANY = strategies.integers(0, 11)  # which of what the page shows; taken modulo how many there are
ACTS = ("make_up", "add", "take_out", "start", "end", "dry", "dried", "tick", "void")
ACT = strategies.tuples(strategies.sampled_from(ACTS), ANY, ANY)
LIGHT = "900"  # grams of ballast: outside of the tolerance


class Page:
    """What one operator saw last; not looked at again unless they reload."""

    def __init__(self, who: Any) -> None:
        self.who = who
        self.reload()

    def reload(self) -> None:
        self.ready = list(Specimen.objects.filter(stage="ready").order_by("pk").values_list("pk", flat=True))
        self.loads = {pk: state for pk, state in Load.objects.order_by("pk").values_list("pk", "state")}
        pieces = LoadPiece.objects.filter(open=True).order_by("pk")
        self.pieces = list(pieces.values_list("pk", "load_id", "specimen_id", "ordinal", "drying_id"))
        self.dryings = list(Drying.objects.filter(state="running").values_list("pk", flat=True))

    def next_of(self, load: int) -> str:
        if self.loads[load] != Load.State.WASHED:
            return "start" if self.loads[load] == Load.State.MADE_UP else "end"
        drying = self.of(load)[0][4]
        return "dry" if drying is None else "dried" if drying in self.dryings else "tick"

    def of(self, load: int) -> list[tuple]:
        return [piece for piece in self.pieces if piece[1] == load]


class TwoOperators(RuleBasedStateMachine):
    people: Any = None
    came_to: Counter[str] = Counter()

    @initialize()
    def begin(self) -> None:
        empty_book()
        self.now = NOON
        self.keep = clock.set_to(self.now)
        self.keep.__enter__()
        self.request = ready(self.people, count=SPECIMENS, cycles=CYCLES, measured_after=(CYCLES,))
        self.pages = [Page(self.people.lou), Page(self.people.mara)]

    @rule(who=strategies.integers(0, 1))
    def reload(self, who: int) -> None:
        self.pages[who].reload()

    @rule(who=strategies.integers(0, 1), act=ACT)
    def one_taps(self, who: int, act: tuple[str, int, int]) -> None:
        self.later()
        answer = attempt(self.act(self.pages[who], *act))
        assert answer is None or isinstance(answer, Refusal), answer
        self.pages[who].reload()

    @rule(who=strategies.integers(0, 1), one=ANY, two=strategies.integers(0, 5))
    def one_goes_on(self, who: int, one: int, two: int) -> None:
        """The next step of a load, as the page has it in madder: so the cloth comes as far as the tick."""
        page = self.pages[who]
        page.reload()
        load = choose([pk for pk, state in page.loads.items() if state != "void" and page.of(pk)], one)
        if load is None:
            self.one_taps(who, ("make_up", one, 0))
        else:
            name = "void" if two == 5 else page.next_of(load)
            self.one_taps(who, (name, list(page.loads).index(load), two % 2))

    @rule(one=ACT, other=ACT)
    def both_tap_at_once(self, one: tuple[str, int, int], other: tuple[str, int, int]) -> None:
        self.later()
        acts = [self.act(page, *act) for page, act in zip(self.pages, (one, other), strict=True)]
        for answer in at_once(*acts):
            assert not isinstance(answer, Exception) or isinstance(answer, Refusal), repr(answer)

    def later(self) -> None:
        """A minute on: the house's clock is everybody's."""
        self.keep.__exit__(None, None, None)
        self.now += timedelta(minutes=1)
        self.keep = clock.set_to(self.now)
        self.keep.__enter__()

    def act(self, page: Page, name: str, one: int, two: int) -> Callable[[], Any]:
        who = {"by": page.who, "at": self.now}
        load = choose(list(page.loads), one)
        if (load is None and name != "make_up") or (name == "dried" and not page.dryings):
            return lambda: None  # the page has no such button
        held = page.of(load)
        piece = choose(held, two) or (0, load, 0, 1, None)
        washer = self.people.washers[two % 2].pk
        ballast = {"ballast_mass_g": LIGHT, "deviation": "few pieces" if two % 4 == 1 else ""} if two % 2 else {}
        return {
            "make_up": lambda: services.make_up_load(specimen_ids=page.ready[one % 3 : one % 3 + 2], **who),
            "add": lambda: services.add_piece(load_id=load, specimen_id=choose(page.ready, two) or 0, **who),
            "take_out": lambda: services.take_out(load_id=load, specimen_id=piece[2], reason="torn", **who),
            "start": lambda: services.start_wash(
                load_id=load,
                washer_id=washer,
                shown=[row[0] for row in held],
                at_risk=True,
                **{**WASH, **ballast},
                **who,
            ),
            "end": lambda: services.end_wash(load_id=load, **who),
            "dry": lambda: services.start_drying(
                piece_ids=[row[0] for row in held], dryer_id=self.people.dryers[two % 2].pk, **who
            ),
            "dried": lambda: services.end_drying(
                drying_id=choose(page.dryings, one) or 0, lint_filter_cleaned=True, **who
            ),
            "tick": lambda: services.tick_cycles(shown={row[2]: row[3] for row in held}, **who),
            "void": lambda: services.void_load(load_id=load, reason="power cut", **who),
        }[name]

    @invariant()
    def no_specimen_is_in_two_loads(self) -> None:
        held = list(LoadPiece.objects.filter(open=True).values_list("specimen_id", flat=True))
        assert len(held) == len(set(held))
        in_load = set(Specimen.objects.filter(stage="in_load").values_list("pk", flat=True))
        assert in_load == set(held)

    @invariant()
    def no_machine_runs_two(self) -> None:
        washers = list(Load.objects.filter(state="washing").values_list("washer_id", flat=True))
        dryers = list(Drying.objects.filter(state="running").values_list("dryer_id", flat=True))
        assert len(washers) == len(set(washers)) and len(dryers) == len(set(dryers))

    @invariant()
    def cycles_run_from_one_without_a_gap(self) -> None:
        for specimen in Specimen.objects.all():
            logged = list(
                CycleLog.objects.filter(specimen=specimen).order_by("ordinal").values_list("ordinal", flat=True)
            )
            assert logged == list(range(1, specimen.cycles_valid + 1))
            wetted = specimen.pieces.filter(outcome__in=("ticked", "void")).count()
            assert specimen.times_wetted == wetted >= specimen.cycles_valid

    @invariant()
    def what_was_weighed_holds_or_a_deviation_says_why(self) -> None:
        for load in Load.objects.exclude(wash_started_at=None).select_related("procedure"):
            asked = load.procedure
            if abs(load.total_mass_g - asked.load_mass_g) > asked.load_tolerance_g:
                told = self.request.deviations.filter(load_number=load.pk, text__contains="The load weighs")
                assert told.count() == 1 and "few pieces" in told.get().text

    def teardown(self) -> None:
        if hasattr(self, "keep"):
            self.came_to["ticked"] += CycleLog.objects.count()
            self.came_to["void"] += Load.objects.filter(state="void").exclude(wash_started_at=None).count()
            self.came_to["deviations"] += self.request.deviations.filter(text__contains="he load weighs").count()
            assert broken_link(self.request.sample.job.stream) is None
            self.keep.__exit__(None, None, None)


def choose(of: list, number: int) -> Any:
    return of[number % len(of)] if of else None


def attempt(act: Callable[[], Any]) -> Exception | None:
    try:
        act()
    except Exception as error:
        return error
    return None


def empty_book() -> None:
    """No run begins with what another one left. The flush of the tests may pass the guards."""
    tables = ("intake_job", "laundering_load", "laundering_drying", "trail_trailentry", "trail_trailstream")
    connection.ops.execute_sql_flush(
        connection.ops.sql_flush(no_style(), tables, reset_sequences=True, allow_cascade=True)
    )


def test_the_book_stays_right_whatever_two_operators_tap(people):
    TwoOperators.people = people
    how = settings(
        max_examples=8,
        stateful_step_count=18,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    run_state_machine_as_test(seed(20260302)(TwoOperators), settings=how)
    assert min(TwoOperators.came_to[what] for what in ("ticked", "void", "deviations")) > 0, TwoOperators.came_to
