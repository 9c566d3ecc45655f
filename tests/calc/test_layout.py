"""Cutting plans: the rules checked on every plan, and no plan worse than trying everything on small grids."""

import time
from decimal import Decimal as D
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.calc.errors import LayoutError
from apps.calc.layout import Cut, Rect, plan_cutting

from .support import refusal, steady


def apart(a, b, side):
    """Whether two squares share neither a lengthwise yarn (an x) nor a widthwise one (a y)."""
    return abs(a[0] - b[0]) >= side and abs(a[1] - b[1]) >= side


def clear(a, b, side):
    return abs(a[0] - b[0]) >= side or abs(a[1] - b[1]) >= side


def in_an_l(spots, side):
    """One column and one row, the row to one side of the column, the column to one side of the row."""
    for turned in (spots, [(y, x) for x, y in spots]):
        for tall in range(1, len(turned)):
            for column in combinations(turned, tall):
                row = [spot for spot in turned if spot not in column]
                if len({x for x, _ in column}) > 1 or len({y for _, y in row}) > 1:
                    continue
                x0, y0 = column[0][0], row[0][1]
                beside = all(x >= x0 + side for x, _ in row) or all(x <= x0 - side for x, _ in row)
                outward = all(y >= y0 for _, y in column) or all(y <= y0 for _, y in column)
                if beside and outward and any(apart(a, b, side) for a in column for b in row):
                    return True
    return False


def best_pattern(spots, side):
    """The best name an arrangement of all asked cuts deserves, by the words of the ladder."""
    pairs = list(combinations(spots, 2))
    if all(apart(a, b, side) for a, b in pairs):
        return "diagonal"
    if len(spots) == 3:
        return "ell" if any(apart(a, b, side) for a, b in pairs) else "row"
    return "ell" if in_an_l(spots, side) else "row"


LADDER = ["diagonal", "ell", "row"]


def by_trying_everything(width, length, side, count, taken):
    """The best pattern and the number of cuts, over every whole-number arrangement."""
    free = [
        (x, y)
        for x in range(width - side + 1)
        for y in range(length - side + 1)
        if not any(a < x + side and x < a + w and b < y + side and y < b + h for a, b, w, h in taken)
    ]

    def arrangements(start, chosen, wanted):
        if len(chosen) == wanted:
            yield chosen
            return
        for i in range(start, len(free)):
            if all(clear(free[i], other, side) for other in chosen):
                yield from arrangements(i + 1, [*chosen, free[i]], wanted)

    best = len(LADDER)
    for spots in arrangements(0, [], count):
        best = min(best, LADDER.index(best_pattern(spots, side)))
        if best == 0:
            break
    if best < len(LADDER):
        return LADDER[best], count
    for fewer in range(count - 1, 0, -1):
        if next(arrangements(0, [], fewer), None):
            return "reduced", fewer
    return "none", 0


def check(plan, width, length, side, count, margins=(D("0.10"), D("0.10")), taken=()):
    """The rules every plan keeps."""
    spots = [(cut.x, cut.y) for cut in plan.cuts]
    for x, y in spots:
        assert width * margins[0] <= x
        assert x + side <= width - width * margins[0]
        assert length * margins[1] <= y
        assert y + side <= length - length * margins[1]
        for rect in taken:
            beside = x + side <= rect.x or rect.x + rect.width <= x
            assert beside or y + side <= rect.y or rect.y + rect.length <= y
    assert all(cut.side == side for cut in plan.cuts)
    assert all(clear(a, b, side) for a, b in combinations(spots, 2))
    assert spots == sorted(spots)
    if plan.pattern == "none":
        assert not spots
    elif plan.pattern == "reduced":
        assert 0 < len(spots) < count
    else:
        assert len(spots) == count
        # A pattern is never called better than it is, nor worse.
        assert plan.pattern == best_pattern(spots, side)
    assert plan.reason[0].isupper()
    assert plan.reason.endswith(".")


small = settings(steady, max_examples=500)


@st.composite
def small_grids(draw):
    count, side = draw(st.integers(1, 4)), draw(st.integers(1, 3))
    longest = 4 + side if count < 4 else 3 + side
    width, length = draw(st.integers(1, longest)), draw(st.integers(1, longest))
    boxes = st.tuples(st.integers(-1, longest), st.integers(-1, longest), st.integers(1, 3), st.integers(1, 3))
    return width, length, side, count, draw(st.lists(boxes, max_size=4))


@given(small_grids())
@small
def test_no_plan_is_worse_than_trying_everything(grid):
    width, length, side, count, boxes = grid
    taken = [Rect(*map(D, box)) for box in boxes]
    plan = plan_cutting(D(width), D(length), D(side), count, D(0), D(0), taken)
    check(plan, width, length, side, count, (0, 0), taken)
    assert (plan.pattern, len(plan.cuts)) == by_trying_everything(width, length, side, count, boxes)


# Places that a plan of equal gaps or of whole sides from the margin alone would miss.
@pytest.mark.parametrize(
    ("width", "length", "side", "count", "boxes"),
    [
        (6, 6, 2, 3, [(2, 2, 2, 2)]),  # the middle of both diagonals is taken
        (7, 7, 2, 3, [(0, 0, 1, 1), (6, 6, 1, 1), (0, 6, 1, 1), (6, 0, 1, 1)]),  # the four corners are
        (7, 3, 3, 2, [(0, 0, 1, 3)]),  # only a place against a taken edge leaves room for two
        (5, 5, 2, 3, [(0, 0, 2, 2)]),  # the corner of one L is
        (5, 5, 2, 4, [(2, 2, 1, 1)]),  # a block around a hole
        (3, 7, 2, 3, [(0, 2, 1, 1)]),  # a column that has to step aside
        (7, 7, 3, 4, [(3, 3, 1, 1)]),  # a pinwheel's centre
        (4, 4, 2, 3, [(1, 1, 1, 1)]),
        (4, 3, 2, 3, [(0, 0, 1, 1)]),  # the first free place is the wrong one
        (6, 9, 3, 3, [(4, 5, 1, 2), (-1, 1, 2, 3), (0, 9, 3, 3)]),  # two apart on a rising line, the third beside
        (8, 7, 3, 3, [(2, 4, 3, 1), (0, 0, 3, 1), (5, 3, 1, 1)]),  # two apart on a falling line, the third beside
        (5, 6, 2, 4, [(4, -1, 1, 2), (4, 0, 3, 2), (0, 3, 3, 1)]),  # an L whose corner is off its column
        (4, 7, 2, 4, [(0, 2, 2, 3), (0, 4, 3, 1)]),  # an L that hangs down
        (7, 4, 2, 4, [(4, 1, 1, 1), (0, 0, 3, 2)]),  # an L that points to the left
        (9, 6, 2, 3, [(2, 5, 1, 1), (5, 3, 3, 3), (6, 0, 3, 3)]),  # the same two rows, reached less far
        (8, 11, 3, 4, [(4, -1, 3, 3), (2, 10, 2, 3), (1, 5, 1, 1), (4, 2, 3, 3), (7, 6, 2, 2)]),  # pinwheel of four
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_awkward_samples(width, length, side, count, boxes, turned):
    if turned:
        width, length, boxes = length, width, [(y, x, tall, wide) for x, y, wide, tall in boxes]
    taken = [Rect(*map(D, box)) for box in boxes]
    plan = plan_cutting(D(width), D(length), D(side), count, D(0), D(0), taken)
    check(plan, width, length, side, count, (0, 0), taken)
    assert (plan.pattern, len(plan.cuts)) == by_trying_everything(width, length, side, count, boxes)


sizes = st.decimals(200, 3000, places=1)


@given(
    sizes,
    sizes,
    st.sampled_from(["380", "610", "250", "381.0", "558.8"]),
    st.integers(1, 12),
    st.sampled_from(["0", "0.05", "0.10"]),
    st.lists(st.builds(Rect, sizes, sizes, st.decimals(1, 700, places=1), st.decimals(1, 700, places=1)), max_size=6),
)
@settings(steady, max_examples=120)
def test_plans_for_cloth_keep_the_rules(width, length, side, count, margin, taken):
    plan = plan_cutting(width, length, D(side), count, D("0.10"), D(margin), taken)
    check(plan, width, length, D(side), count, (D("0.10"), D(margin)), taken)


@given(sizes, sizes, st.sampled_from(["380", "610", "250"]), st.integers(1, 12))
@steady
def test_on_untouched_cloth_the_pattern_follows_from_what_fits_across_and_along(width, length, side, count):
    across, along = (int(size * D("0.8") // D(side)) for size in (width, length))
    plan = plan_cutting(width, length, D(side), count)
    if min(across, along) >= count:
        wanted = "diagonal"
    elif count >= 3 and min(across, along) >= 2 and across + along - 1 >= count:
        wanted = "ell"
    elif across * along >= count:
        wanted = "row"
    else:
        wanted = "reduced" if across * along else "none"
    assert plan.pattern == wanted
    assert len(plan.cuts) == min(count, across * along)


def test_three_cuts_are_spread_from_corner_to_corner():
    # 1500 x 1500 mm: 150 mm free on each side, three of 380 mm with gaps of 410 - 380 = 30 mm.
    plan = plan_cutting(D(1500), D(1500), D(380))
    assert plan.pattern == "diagonal"
    assert plan.cuts == [Cut(D(x), D(x), D(380)) for x in (150, 560, 970)]
    assert plan.reason == "The 3 cuts lie apart: no two share a lengthwise or a widthwise yarn."


def test_touching_the_margin_and_each_other_is_allowed():
    plan = plan_cutting(D(1425), D(1425), D(380))
    assert [cut.x for cut in plan.cuts] == [D("142.5"), D("522.5"), D("902.5")]
    assert plan.pattern == "diagonal"
    assert plan_cutting(D("1424.9"), D(1425), D(380)).pattern == "ell"


def test_one_cut_lies_in_the_middle():
    assert plan_cutting(D(1000), D(800), D(380), 1).cuts == [Cut(D(310), D(210), D(380))]


def test_a_short_sample_gives_an_l_with_its_corner_named():
    plan = plan_cutting(D(1500), D(1000), D(380))
    assert plan.pattern == "ell"
    assert plan.cuts == [Cut(D(150), D(100), D(380)), Cut(D(150), D(520), D(380)), Cut(D(970), D(100), D(380))]
    assert plan.reason == (
        "No diagonal fits, so the 3 cuts lie in an L: 1 and 2 share lengthwise yarns; 1 and 3 share widthwise yarns."
    )


def test_a_narrow_strip_gives_a_row_and_says_what_is_shared():
    across = plan_cutting(D(1500), D(500), D(380))
    along = plan_cutting(D(500), D(1500), D(380))
    assert (across.pattern, along.pattern) == ("row", "row")
    assert across.reason.endswith("side by side: all share widthwise yarns.")
    assert along.reason.endswith("side by side: all share lengthwise yarns.")
    assert plan_cutting(D(1500), D(500), D(380), 2).reason.startswith("No diagonal fits, so")


def test_four_cuts_in_a_block():
    plan = plan_cutting(D(1000), D(1000), D(380), 4)
    assert plan.pattern == "row"
    assert "in a block: 1 and 2, 3 and 4 share lengthwise yarns; 1 and 3, 2 and 4 share widthwise yarns." in plan.reason


def test_too_little_cloth_gives_what_fits():
    plan = plan_cutting(D(1000), D(500), D(380))
    assert (plan.pattern, len(plan.cuts)) == ("reduced", 2)
    assert plan.reason == "Only 2 of 3 cuts fit: all share widthwise yarns."
    assert plan_cutting(D(500), D(500), D(380)).reason == "Only 1 of 3 cuts fit."


def test_no_cloth_gives_none_and_says_why():
    plan = plan_cutting(D(450), D(1000), D(380))
    assert (plan.pattern, plan.cuts) == ("none", [])
    assert plan.reason == "No cut of 380 mm fits: between the margins the sample is 360 mm wide and 800 mm long."
    used = plan_cutting(D(500), D(500), D(380), taken=[Rect(D(100), D(100), D(300), D(300))])
    assert used.reason.endswith("and what is already cut leaves no room.")


def test_fewer_cuts_still_lie_apart_where_they_can():
    # Two of five fit, and a diagonal of two is better than a row of two.
    plan = plan_cutting(D(9), D(9), D(3), 5, D(0), D(0), [Rect(D(3), D(0), D(6), D(6)), Rect(D(0), D(3), D(3), D(6))])
    assert (plan.pattern, plan.cuts) == ("reduced", [Cut(D(0), D(0), D(3)), *plan.cuts[1:]])
    assert len(plan.cuts) == 3
    two = plan_cutting(D(6), D(6), D(3), 3, D(0), D(0), [Rect(D(3), D(0), D(1), D(1)), Rect(D(0), D(5), D(1), D(1))])
    assert (two.pattern, len(two.cuts)) == ("reduced", 2)
    assert "no two share" in two.reason


def test_the_next_request_keeps_clear_of_what_is_cut():
    first = plan_cutting(D(2400), D(2400), D(380))
    second = plan_cutting(D(2400), D(2400), D(380), taken=[cut.area for cut in first.cuts])
    assert (first.pattern, second.pattern) == ("diagonal", "diagonal")
    check(second, D(2400), D(2400), D(380), 3, taken=[cut.area for cut in first.cuts])


def test_an_area_outside_the_margins_changes_nothing():
    edge = Rect(D(-50), D(-50), D(200), D(3000))
    assert plan_cutting(D(1500), D(1500), D(380), taken=[edge]) == plan_cutting(D(1500), D(1500), D(380))


def test_coordinates_are_exact():
    plan = plan_cutting(D("1333.3"), D("1300"), D("304.8"), 3, D("0.125"))
    assert plan.cuts[0].x == D("1333.3") * D("0.125") == D("166.6625")
    tiny = plan_cutting(D("1E-20"), D("1E-20"), D("3E-21"), 2)
    assert [cut.x for cut in tiny.cuts] == [D("1E-21"), D("4E-21")]
    huge = plan_cutting(D("1E+25"), D("1E+25"), D(380), 3)
    assert huge.pattern == "diagonal"


def test_the_unit_changes_nothing():
    areas = [(400, 300, 500, 120), (900, 700, 61, 333)]
    mm = plan_cutting(D(1600), D(1300), D(300), 4, taken=[Rect(*map(D, area)) for area in areas])
    tenths = [Rect(*(D(n) / 10 for n in area)) for area in areas]
    cm = plan_cutting(D(160), D(130), D(30), 4, taken=tenths)
    assert mm.pattern == cm.pattern
    check(cm, D(160), D(130), D(30), 4, taken=tenths)


@pytest.mark.parametrize(
    ("kwargs", "code"),
    [
        ({"width": D(0)}, "not_positive"),
        ({"length": D(-5)}, "not_positive"),
        ({"side": D(0)}, "not_positive"),
        ({"width": D("NaN")}, "not_finite"),
        ({"length": D("sNaN")}, "not_finite"),
        ({"side": D("Infinity")}, "not_finite"),
        ({"width": D("1E+99")}, "out_of_range"),
        ({"width": D("1." + "1" * 41)}, "out_of_range"),
        ({"width": 1500.0}, "not_exact"),
        ({"count": 0}, "count"),
        ({"count": 13}, "count"),
        ({"count": True}, "count"),
        ({"count": D(3)}, "count"),
        ({"margin_width": D("-0.1")}, "margin"),
        ({"margin_length": D("0.5")}, "margin"),
        ({"margin_width": D("NaN")}, "not_finite"),
        ({"taken": [Rect(D(0), D(0), D(0), D(5))]}, "not_positive"),
        ({"taken": [Rect(D("NaN"), D(0), D(5), D(5))]}, "not_finite"),
        ({"taken": [Rect(D(0), D(0), D(5), D(5))] * 61}, "too_many_taken"),
    ],
)
def test_no_plan_without_sound_sizes(kwargs, code):
    error = refusal(plan_cutting, **{"width": D(1500), "length": D(1500), "side": D(380), **kwargs})
    assert isinstance(error, LayoutError)
    assert error.code == code


def test_it_is_quick_enough_for_a_page():
    # Fifty plans of three cuts between eight scattered areas: a tenth of the bound on a slow machine.
    taken = [Rect(D(150 + 137 * i % 1200), D(150 + 251 * i % 900), D(40 + 9 * i), D(70)) for i in range(8)]
    started = time.perf_counter()
    for step in range(50):
        plan_cutting(D(1500 + step), D(1200), D(380), 3, taken=taken)
    assert (time.perf_counter() - started) / 50 < 0.05


def test_a_crowded_field_of_twelve_ends_in_time():
    taken = [Rect(D(173 * i % 900), D(311 * i % 700), D(7), D(9)) for i in range(60)]
    started = time.perf_counter()
    plan = plan_cutting(D(900), D(700), D(180), 12, D(0), D(0), taken)
    assert time.perf_counter() - started < 5
    check(plan, D(900), D(700), D(180), 12, (0, 0), taken)
