"""A queue in the fewest loads: against trying every grouping, and against an integer program."""

import random
import time
from datetime import date, timedelta
from decimal import Decimal as D

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy import optimize

from apps.calc.errors import LoadError
from apps.calc.loads import Waiting, group_queue

from .support import refusal, steady

DAY = date(2026, 3, 2)
WOVEN, KNIT = ("2A", "woven"), ("2A", "knit")


def waiting(*rows, key=WOVEN):
    """Rows of mass and days until due; named A, B, C and so on."""
    return [Waiting(chr(65 + i), key, D(mass), DAY + timedelta(days=days)) for i, (mass, days) in enumerate(rows)]


def names(plan):
    return ["".join(piece.name for piece in load.pieces) for load in plan.loads]


def test_a_queue_that_fits_is_one_load():
    plan = group_queue(waiting((240, 1), (250, 0), (300, 2)), D(1800))
    assert names(plan) == ["BAC"]  # the earliest due first
    assert (plan.loads[0].mass_g, plan.loads[0].due, plan.fewest) == (D(790), DAY, True)


def test_the_most_urgent_go_first_as_far_as_the_fewest_loads_allow():
    # A and B by themselves would leave C and D, 1200 g, to one load of 1000 g.
    plan = group_queue(waiting((500, 0), (300, 1), (500, 2), (700, 3)), D(1000))
    assert names(plan) == ["AC", "BD"]
    assert [load.mass_g for load in plan.loads] == [D(1000), D(1000)]
    assert plan.fewest
    assert names(group_queue(waiting((500, 0), (300, 1), (500, 2), (700, 3)), D(1200))) == ["AB", "CD"]


def test_largest_first_alone_would_need_one_load_more():
    # The heaviest first into the first load with room gives 600 + 300 and 500 + 200 + 200, and 200 is left over.
    plan = group_queue(waiting(*((mass, 0) for mass in (600, 500, 300, 200, 200, 200))), D(1000))
    assert [load.mass_g for load in plan.loads] == [1000, 1000]  # 600 + 200 + 200 and 500 + 300 + 200


def test_what_must_be_apart_is_kept_apart():
    queue = waiting((200, 1), (200, 3)) + waiting((300, 0), (300, 2), key=KNIT)
    plan = group_queue(queue, D(1800))
    assert [(load.key, load.mass_g) for load in plan.loads] == [(KNIT, 600), (WOVEN, 400)]
    by_date = [Waiting(p.name, (*p.key, str(p.due)), p.mass_g, p.due) for p in queue]
    assert len(group_queue(by_date, D(1800)).loads) == 4


def test_a_piece_too_heavy_for_any_load_is_named():
    plan = group_queue(waiting((240, 0), ("1800.1", 1), (1800, 2)), D(1800))
    assert names(plan) == ["A", "C"]
    assert [piece.name for piece in plan.too_heavy] == ["B"]


def test_an_empty_queue_needs_no_load():
    plan = group_queue([], D(1800))
    assert (plan.loads, plan.too_heavy, plan.fewest) == ([], [], True)


def test_masses_are_exact():
    tenths = waiting(*[("0.1", 0)] * 3)
    assert len(group_queue(tenths, D("0.3")).loads) == 1
    assert len(group_queue(tenths, D("0.2999999999999999999999")).loads) == 2


@pytest.mark.parametrize(
    ("args", "code"),
    [
        ((waiting((240, 0)), D(0)), "not_positive"),
        ((waiting((0, 0)), D(1800)), "not_positive"),
        ((waiting(("NaN", 0)), D(1800)), "not_finite"),
        ((waiting((240, 0)), D("Infinity")), "not_finite"),
        ((waiting((240, 0)), 1800.0), "not_exact"),
        ((waiting((240, 0)), D(1800), 0), "most_pieces"),
        ((waiting((240, 0)), D(1800), True), "most_pieces"),
    ],
)
def test_a_queue_needs_sound_masses(args, code):
    error = refusal(group_queue, *args)
    assert isinstance(error, LoadError)
    assert error.code == code


def every_grouping(n):
    """Every way to put n pieces into unnumbered loads, as the load of each, numbered in order of first use."""
    ways = [[]]
    for _ in range(n):
        ways = [[*way, b] for way in ways for b in range(max(way, default=-1) + 2)]
    return ways


def allowed(way, sizes, room, most):
    for b in set(way):
        held = [size for size, at in zip(sizes, way, strict=True) if at == b]
        if sum(held) > room or len(held) > most:
            return False
    return True


def best_by_trying_everything(sizes, room, most):
    """The fewest loads; among those the grouping that puts each piece, in order, into the earliest load it can."""
    ways = [way for way in every_grouping(len(sizes)) if allowed(way, sizes, room, most)]
    return min(ways, key=lambda way: (max(way), way))


@given(st.lists(st.integers(1, 10), min_size=1, max_size=7), st.integers(10, 16), st.sampled_from([2, 3, 7]))
@example([9, 10, 5, 2, 5, 9], 10, 7)  # four loads would have to be full to the brim
@steady
def test_no_grouping_is_better(sizes, room, most):
    queue = [Waiting(str(i), WOVEN, D(size), DAY + timedelta(days=i)) for i, size in enumerate(sizes)]
    plan = group_queue(queue, D(room), most)
    best = best_by_trying_everything(sizes, room, most)
    assert plan.fewest
    assert len(plan.loads) == max(best) + 1
    found = {piece.name: n for n, load in enumerate(plan.loads) for piece in load.pieces}
    assert [found[str(i)] for i in range(len(sizes))] == best


def fewest_by_integer_program(sizes, room):
    """The least number of loads by scipy's integer programming (HiGHS)."""
    n = len(sizes)
    count = n * n + n  # whether piece i lies in load b, and whether load b is run
    cost = np.r_[np.zeros(n * n), np.ones(n)]
    placed, filled = np.zeros((n, count)), np.zeros((n, count))
    for i in range(n):
        placed[i, i * n : (i + 1) * n] = 1
    for b in range(n):
        filled[b, b : n * n : n] = sizes
        filled[b, n * n + b] = -room
    constraints = [optimize.LinearConstraint(placed, 1, 1), optimize.LinearConstraint(filled, -np.inf, 0)]
    solved = optimize.milp(cost, constraints=constraints, integrality=np.ones(count), bounds=optimize.Bounds(0, 1))
    return round(solved.fun)


@pytest.mark.parametrize("case", range(12))
def test_an_integer_program_finds_no_fewer(case):
    draw = random.Random(case)
    sizes = [draw.randint(200, 900) for _ in range(8)]
    queue = [Waiting(str(i), WOVEN, D(size), DAY) for i, size in enumerate(sizes)]
    plan = group_queue(queue, D(1800))
    assert plan.fewest
    assert len(plan.loads) == fewest_by_integer_program(sizes, 1800)


pieces = st.builds(
    Waiting,
    st.text("abc", min_size=3, max_size=3),
    st.sampled_from([WOVEN, KNIT, ("5A", "woven")]),
    st.decimals("50", "900", places=1),
    st.dates(DAY, DAY + timedelta(days=9)),
)


@given(st.lists(pieces, max_size=25), st.decimals("300", "2000", places=1), st.none() | st.integers(1, 6))
@steady
def test_every_plan_keeps_the_rules(queue, capacity, most):
    plan = group_queue(queue, capacity, most)
    placed = [piece for load in plan.loads for piece in load.pieces] + plan.too_heavy
    assert sorted(placed, key=repr) == sorted(queue, key=repr)
    assert all(piece.mass_g > capacity for piece in plan.too_heavy)
    for load in plan.loads:
        assert {piece.key for piece in load.pieces} == {load.key}
        assert load.mass_g == sum(piece.mass_g for piece in load.pieces) <= capacity
        assert most is None or len(load.pieces) <= most
        assert [piece.due for piece in load.pieces] == sorted(piece.due for piece in load.pieces)
    assert [load.due for load in plan.loads] == sorted(load.due for load in plan.loads)


@pytest.mark.parametrize(("count", "most"), [(80, 5), (300, None)])
def test_a_long_queue_is_planned_in_time_and_says_what_is_not_proven(count, most):
    draw = random.Random(7)
    queue = [
        Waiting(str(i), WOVEN, D(draw.randint(1500, 7000)) / 10, DAY + timedelta(days=draw.randint(0, 9)))
        for i in range(count)
    ]
    begun = time.process_time()
    plan = group_queue(queue, D(1800), most)
    assert time.process_time() - begun < 5
    assert sum(len(load.pieces) for load in plan.loads) == count
    assert len(plan.loads) <= 1.05 * float(sum(piece.mass_g for piece in queue)) / 1800 + 2
    assert not plan.fewest
