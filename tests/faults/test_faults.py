"""A few rounds of the fault runs, so that they cannot rot; the long run is a command of its own (run, RESULT.md)."""

import subprocess
import sys
import uuid

import pytest

from apps.intake.models import Specimen
from apps.laundering import services as laundering
from apps.measuring import services as measuring
from tests.cast import NOON, Cast
from tests.faults import checks, work
from tests.house_rules import ROOT


def fall(house: str, rounds: int) -> str:
    command = [sys.executable, "-m", "tests.faults", house, f"--rounds={rounds}", "--hurry"]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
    return result.stdout


@pytest.mark.postgres_only
def test_a_server_that_falls_loses_nothing_and_doubles_nothing():
    told = fall("server", rounds=3)
    assert told.count("losses and doubles 0") == len(("web", "database", "worker")), told


@pytest.mark.once
def test_a_desk_that_falls_loses_nothing_and_doubles_nothing():
    assert "losses and doubles 0" in fall("desk", rounds=2)


# What looks at the result of a round finds what is wrong.


@pytest.fixture
def done(people: Cast) -> work.Work:
    """All of a round's writes, without a fall."""
    laid_out = work.prepare(people, at=NOON)
    for pair, text in laid_out.cells.items():
        act = {"pair_id": pair, "stage": 0, "text": text, "unit": "mm", "by": people.bea, "at": NOON}
        measuring.enter_reading(**act, key=key_of(laid_out, f"reading of pair {pair}"))
    for specimen, cycle in laid_out.ticks.items():
        act = {"specimen_id": specimen, "ordinal": cycle, "by": people.lou, "at": NOON}
        laundering.tick_cycle(**act, key=key_of(laid_out, f"tick of specimen {specimen}"))
    return laid_out


def key_of(laid_out: work.Work, what: str) -> uuid.UUID:
    key = uuid.uuid4()
    laid_out.keys[str(key)] = what
    return key


def test_a_round_without_a_fall_is_in_order(done):
    assert checks.of_work(done) == []


def test_what_was_acknowledged_and_is_not_there_is_found(done):
    key = next(iter(done.keys))
    done.keys[str(uuid.uuid4())] = done.keys.pop(key)
    done.cells[0] = "250"
    done.ticks[0] = 1
    wrong = "\n".join(checks.of_work(done))
    for sentence in ("entries under its key", "pair 0 was read", "cycle 1 of specimen 0", "never acknowledged"):
        assert sentence in wrong
    assert "12 readings.entered instead of 13" in wrong and "8 cycle.ticked instead of 9" in wrong


def test_a_stage_that_the_facts_do_not_bear_out_is_found(done):
    for specimen, wrong in zip(done.ticks, ({"stage": "owed"}, {"cycles_valid": 0}, {"times_wetted": 2}), strict=False):
        Specimen.objects.filter(pk=specimen).update(**wrong)
    assert len(checks.of_work(done)) == 3
