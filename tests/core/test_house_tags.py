"""What templates print with."""

import re
import uuid
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django import forms
from django.template import Context, engines
from django.test import RequestFactory, SimpleTestCase, override_settings

pytestmark = pytest.mark.once


def printed(source: str, **context) -> str:
    return engines["django"].engine.from_string(source).render(Context(context))


class FigureTests(SimpleTestCase):
    def test_a_change_has_its_sign_and_a_true_minus(self):
        for value, text in [
            (Decimal("-2.5"), "−2.5"),
            (Decimal("2.0"), "+2.0"),
            (Decimal("0.0"), "0.0"),
            (Decimal("-0.0"), "0.0"),
            ("-12.5", "−12.5"),
            (3, "+3"),
        ]:
            with self.subTest(value=value):
                self.assertEqual(printed("{{ v|change }}", v=value), text)

    def test_millimetres_are_printed_as_read(self):
        for value, text in [
            (Decimal("350"), "350.0"),
            (Decimal("350.0000"), "350.0"),
            (Decimal("244.4750"), "244.475"),
            (Decimal("-0.5"), "−0.5"),
            ("349.5", "349.5"),
        ]:
            with self.subTest(value=value):
                self.assertEqual(printed("{{ v|mm }}", v=value), text)

    def test_what_is_no_number_prints_nothing(self):
        for value in (None, "", "nearly", Decimal("NaN"), Decimal("Infinity"), "1e", [], 2.5):
            with self.subTest(value=value):
                self.assertEqual(printed("{{ v|change }}{{ v|mm }}", v=value), "")


class MomentTests(SimpleTestCase):
    def test_a_moment_is_told_on_the_lab_clock(self):
        at = datetime(2026, 7, 12, 22, 40, tzinfo=UTC)
        with override_settings(TIME_ZONE="Europe/Vienna"):
            self.assertIn(">13 Jul 2026, 00:40</time>", printed("{{ v|moment }}", v=at))
            self.assertEqual(printed("{{ v|day }}", v=at), '<time datetime="2026-07-13">13 Jul 2026</time>')

    def test_a_day(self):
        self.assertEqual(printed("{{ v|day }}", v=date(2026, 3, 2)), '<time datetime="2026-03-02">2 Mar 2026</time>')

    def test_no_moment_prints_nothing(self):
        self.assertEqual(printed("{{ v|moment }}{{ v|day }}", v=None), "")


class StateTests(SimpleTestCase):
    def test_a_state_is_a_shape_and_a_word(self):
        html = printed('{% state "in_load" "in load 14" %}')
        self.assertIn("<svg", html)
        self.assertIn("in load 14</span>", html)

    def test_states_differ_by_shape_not_only_by_tone(self):
        shapes = [
            re.search("<svg.*</svg>", printed("{% state v %}", v=v))[0] for v in ("pass", "fail", "conditional_pass")
        ]
        self.assertEqual(len(set(shapes)), 3)

    def test_a_shape_may_be_asked_for_by_name(self):
        self.assertIn("state--care", printed('{% state "triangle" "look here" tone="care" %}'))

    def test_an_unknown_state_is_told_all_the_same(self):
        self.assertIn("far off</span>", printed('{% state "far_off" %}'))

    def test_the_word_is_escaped(self):
        self.assertIn("&lt;b&gt;", printed('{% state "full" v %}', v="<b>"))


class OneField(forms.Form):
    mass = forms.DecimalField(min_value=0)
    pieces = forms.IntegerField()


class HiddenKeyTests(SimpleTestCase):
    def key(self, request, form=None, source="{% hidden_key form %}") -> uuid.UUID:
        html = printed(source, request=request, form=form)
        return uuid.UUID(re.search('name="key" value="(.*?)"', html)[1])

    def test_a_fresh_page_has_a_fresh_key(self):
        request = RequestFactory().get("/")
        self.assertNotEqual(self.key(request), self.key(request))

    def test_a_form_shown_again_keeps_its_key(self):
        sent = uuid.uuid4()
        request = RequestFactory().post("/", {"key": str(sent)})
        self.assertEqual(self.key(request, OneField({})), sent)
        self.assertEqual(self.key(request, OneField({}), "{% hidden_key %}"), sent)

    def test_a_row_shown_after_its_act_gets_a_new_key(self):
        sent = uuid.uuid4()
        self.assertNotEqual(self.key(RequestFactory().post("/", {"key": str(sent)}), OneField()), sent)

    def test_a_key_that_is_none_is_replaced(self):
        for sent in ("", "no key", "\0", "9" * 10_000, '"><script>'):
            with self.subTest(sent=sent[:10]):
                self.key(RequestFactory().post("/", {"key": sent}), OneField({}))


class ControlTests(SimpleTestCase):
    def test_a_number_field_keeps_what_was_typed(self):
        html = printed("{% control form.mass %}", form=OneField({"mass": "about 3"}))
        self.assertIn('type="text"', html)
        self.assertIn('inputmode="decimal"', html)
        self.assertIn('value="about 3"', html)
        self.assertNotIn("min=", html)

    def test_pieces_are_whole(self):
        self.assertIn('inputmode="numeric"', printed("{% control form.pieces %}", form=OneField()))

    def test_it_takes_attributes(self):
        html = printed('{% control form.mass aria_label="Mass of A1" class="wide" %}', form=OneField())
        self.assertIn('aria-label="Mass of A1"', html)
        self.assertIn('class="wide"', html)

    def test_it_leaves_the_form_as_it_is(self):
        form = OneField()
        printed("{% control form.mass %}", form=form)
        self.assertEqual(form.fields["mass"].widget.input_type, "number")

    def test_a_cell_names_its_input_and_its_error(self):
        html = printed('{% cell form.mass "A1 length 1" %}', form=OneField({"mass": "3x"}))
        self.assertIn('aria-label="A1 length 1"', html)
        self.assertIn('aria-describedby="id_mass_error"', html)
        self.assertIn('id="id_mass_error"', html)
