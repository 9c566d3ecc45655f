"""Drawings as SVG, and the curve over the cycles."""

import re
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from django.template import engines
from django.test import SimpleTestCase
from hypothesis import given
from hypothesis import strategies as st

from apps.core.drawing import (
    LABEL_GAP,
    Circle,
    Drawing,
    Line,
    Polyline,
    Rect,
    Text,
    curve,
    plain,
    spread_labels,
    ticks,
    to_svg,
)

pytestmark = pytest.mark.once


def texts(svg: str) -> list[str]:
    return [element.text or "" for element in ElementTree.fromstring(svg).iter("text")]


class SvgTests(SimpleTestCase):
    def test_every_shape(self):
        shapes = (
            Line(0, 1, Decimal("2.5"), 3, "thread"),
            Rect(0, 0, 10, 20),
            Circle(5, 5, 1.25),
            Polyline(((0, 0), (1, 2))),
            Text(1, 2, "selvedge", "middle"),
        )
        svg = to_svg(Drawing(100, 50, shapes, "Cutting plan", "three cuts on the diagonal", css="plan"))
        self.assertIn('<line x1="0" y1="1" x2="2.5" y2="3" class="thread"></line>', svg)
        self.assertIn('<rect x="0" y="0" width="10" height="20"></rect>', svg)
        self.assertIn('<circle cx="5" cy="5" r="1.25"></circle>', svg)
        self.assertIn('<polyline points="0,0 1,2"/>', svg)
        self.assertIn('<text x="1" y="2" text-anchor="middle">selvedge</text>', svg)
        self.assertIn('viewBox="0 0 100 50" width="100" height="50"', svg)
        self.assertIn("<title>Cutting plan</title><desc>three cuts on the diagonal</desc>", svg)
        self.assertIn('class="drawing plan" role="img"', svg)

    def test_millimetres(self):
        self.assertIn('width="60mm" height="30mm"', to_svg(Drawing(60, 30, (), "Label", unit="mm")))

    def test_text_is_escaped(self):
        bad = '</text><script>alert("x")</script>&'
        svg = to_svg(Drawing(1, 1, (Text(0, 0, bad, css='"><b>'),), bad, bad, css='"><b>'))
        self.assertNotIn("<script", svg)
        self.assertNotIn("<b>", svg)
        self.assertEqual(texts(svg), [bad])

    def test_no_inline_styles(self):
        self.assertNotIn("style=", to_svg(curve({"length": [(1, Decimal("-2.1"))]}, [("lower limit", Decimal(-3))])))

    def test_coordinates_are_short(self):
        for value, text in [(1.23456, "1.235"), (2.0, "2"), (-0.0001, "0"), (Decimal("10.50"), "10.5"), (100, "100")]:
            with self.subTest(value=value):
                self.assertEqual(plain(value), text)

    def test_both_tags_print_it(self):
        drawing = Drawing(1, 1, (), "Small")
        for tag in ("curve", "drawing"):
            html = engines["django"].from_string(f"{{% {tag} d %}}").render({"d": drawing})
            self.assertEqual(html, to_svg(drawing))


class CurveTests(SimpleTestCase):
    POINTS = {
        "length": [(3, Decimal("-2.8")), (1, Decimal("-2.1"))],
        "width": [(1, Decimal("0.4")), (3, Decimal("0.0"))],
    }

    def test_it_tells_its_figures_to_those_who_cannot_see(self):
        self.assertEqual(
            curve(self.POINTS).desc, "length: cycle 1 −2.1 %, cycle 3 −2.8 %; width: cycle 1 +0.4 %, cycle 3 0.0 %"
        )

    def test_every_line_starts_at_zero_and_is_named_at_its_end(self):
        svg = to_svg(curve(self.POINTS))
        starts = {points.split()[0] for points in re.findall('<polyline points="(.*?)"', svg)}
        self.assertEqual(len(starts), 1)
        self.assertLessEqual({"length", "width"}, set(texts(svg)))

    def test_limits_of_one_value_share_a_line(self):
        limits = [("length, lower limit", Decimal("-3.0")), ("width, lower limit", Decimal("-3.00"))]
        svg = to_svg(curve(self.POINTS, limits))
        self.assertEqual(svg.count('class="limit"'), 1)
        self.assertIn("length, lower limit · width, lower limit −3.0", texts(svg))

    def test_the_names_of_limits_that_lie_close_do_not_touch(self):
        limits = [("length, lower limit", Decimal("-3.0")), ("length, upper limit", Decimal("3.0"))]
        limits += [("width, lower limit", Decimal("-2.8")), ("width, upper limit", Decimal("-2.7"))]
        names = [s for s in curve(self.POINTS, limits).shapes if isinstance(s, Text) and "limit" in s.text]
        self.assertEqual(len(names), 4)
        for place, one in enumerate(names):
            for other in names[place + 1 :]:
                self.assertTrue(one.anchor != other.anchor or abs(one.y - other.y) >= LABEL_GAP, (one, other))

    def test_nothing_read_yet(self):
        self.assertIn("0.0", texts(to_svg(curve({}))))

    def test_many_cycles_keep_their_figures_apart(self):
        svg = to_svg(curve({"length": [(50, Decimal("-4.5"))]}))
        marks = [text for text in texts(svg) if text.isdigit()][1:]  # the first is the 0 of the other axis
        self.assertEqual(marks, ["0", "5", "10", "15", "20", "25", "30", "35", "40", "45", "50"])

    def test_the_names_of_close_lines_do_not_touch(self):
        self.assertEqual(spread_labels([100.0, 101.0, 50.0], 16), [100.0, 116.0, 50.0])

    @given(
        st.lists(st.decimals("-99", "99", places=1), min_size=1, max_size=5),
        st.lists(st.decimals("-50", "50", places=2), max_size=3),
    )
    def test_everything_lies_inside_the_drawing(self, values, limits):
        made = curve({"length": list(enumerate(values, 1))}, [("limit", limit) for limit in limits])
        for shape in made.shapes:
            if isinstance(shape, Polyline):
                for x, y in shape.points:
                    self.assertTrue(0 <= x <= made.width and 0 <= y <= made.height)
            if isinstance(shape, Line):
                self.assertTrue(0 <= shape.y1 <= made.height)

    @given(st.floats(-1000, 999), st.floats(0.01, 1000))
    def test_ticks_hold_the_range_between_them(self, low, span):
        marks = ticks(low, low + span)
        self.assertLessEqual(float(marks[0]), low + 1e-9)
        self.assertGreaterEqual(float(marks[-1]), low + span - 1e-9)
        self.assertLessEqual(len(marks), 8)
