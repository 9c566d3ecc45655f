"""The form templates: label above, hint, error beside the field, and a summary that leads to it."""

from xml.etree import ElementTree

import pytest
from crispy_forms.helper import FormHelper
from crispy_forms.layout import HTML, Button, ButtonHolder, Column, Div, Field, Fieldset, Hidden, Layout, Row, Submit
from django import forms
from django.template import Context, engines
from django.test import SimpleTestCase

pytestmark = pytest.mark.once

LOAD = "{% load crispy_forms_tags %}"
BAD = ("", "\0", "x" * 10_000, "\N{SHEEP}", "1e999", "NaN", "letters", "-3", '"><script>alert(1)</script>')


class Order(forms.Form):
    description = forms.CharField(max_length=100, help_text="As the customer calls it.")
    construction = forms.ChoiceField(choices=[("woven", "woven"), ("knit", "knit")], widget=forms.RadioSelect)
    cycles = forms.IntegerField(min_value=1, max_value=50)
    limit = forms.DecimalField(required=False, max_digits=5, decimal_places=2)
    due = forms.DateField(required=False, widget=forms.DateInput(attrs={"type": "date"}))
    agreed = forms.BooleanField()
    secret = forms.CharField(widget=forms.HiddenInput, required=False, max_length=10)


def printed(source: str, **context) -> str:
    return engines["django"].engine.from_string(LOAD + source).render(Context({"csrf_token": "token", **context}))


def well_formed(html: str) -> None:
    for tag in ("div", "fieldset", "p", "ul", "li", "form", "label", "legend", "button", "span"):
        assert html.count(f"<{tag}>") + html.count(f"<{tag} ") == html.count(f"</{tag}>"), tag


class FieldTests(SimpleTestCase):
    def test_a_fresh_form_complains_of_nothing(self):
        html = printed("{{ form|crispy }}", form=Order())
        well_formed(html)
        self.assertNotIn("To correct", html)
        self.assertNotIn('role="alert"', html)

    def test_label_hint_and_required_in_words(self):
        html = printed("{{ form.description|as_crispy_field }}", form=Order())
        self.assertInHTML(
            '<label for="id_description">Description <span class="required">required</span></label>', html
        )
        self.assertIn('aria-describedby="id_description_helptext"', html)
        self.assertIn('id="id_description_helptext"', html)

    def test_what_is_not_required_does_not_say_so(self):
        self.assertNotIn("required", printed("{{ form.limit|as_crispy_field }}", form=Order()))

    def test_an_error_stands_beside_its_field_and_in_the_summary(self):
        html = printed("{{ form|crispy }}", form=Order({"description": "", "cycles": "many"}))
        well_formed(html)
        self.assertIn("Not saved yet: 4 things to correct", html)
        self.assertIn('<a href="#id_cycles">Cycles: Enter a whole number.</a>', html)
        self.assertIn('<a href="#div_id_construction">', html)
        self.assertIn('id="div_id_construction"', html)
        self.assertIn('id="id_cycles_error"', html)
        self.assertIn('aria-describedby="id_cycles_error"', html)
        self.assertIn('value="many"', html)

    def test_several_choices_are_a_fieldset_with_its_error(self):
        html = printed("{{ form.construction|as_crispy_field }}", form=Order({}))
        self.assertIn("<legend>Construction", html)
        self.assertIn('aria-describedby="id_construction_error"', html)

    def test_whatever_is_typed_is_kept_and_escaped(self):
        for text in BAD:
            with self.subTest(text=text[:20]):
                form = Order({name: text for name in Order.base_fields})
                html = printed("{{ form|crispy }}", form=form)
                well_formed(html)
                self.assertNotIn("<script>", html)
                if text == "1e999":
                    self.assertEqual(html.count('value="1e999"'), 5)

    def test_an_error_of_a_hidden_field_is_in_the_summary(self):
        self.assertIn("at most 10 characters", printed("{{ form|crispy }}", form=Order({"secret": "x" * 11})))


class LayoutTests(SimpleTestCase):
    def form(self, data=None, **helper) -> Order:
        form = Order(data)
        form.helper = FormHelper()
        form.helper.layout = Layout(
            Fieldset("What {{ word }} in", "description", Field("construction", wrapper_class="field--wide")),
            Row(Column("cycles"), "limit", css_id="figures"),
            Div("due", "agreed", css_class="stack"),
            HTML("<p>Invented.</p>"),
            Hidden("step", "2"),
            ButtonHolder(Submit("save", "Log the job", css_class="button--big"), Button("later", "Later")),
        )
        for name, value in helper.items():
            setattr(form.helper, name, value)
        return form

    def test_the_whole_form(self):
        html = printed("{% crispy form %}", form=self.form(), word="came")
        well_formed(html)
        self.assertIn("novalidate", html)
        self.assertIn("csrfmiddlewaretoken", html)
        self.assertIn("<legend>What came in</legend>", html)
        self.assertIn('class="field field--group field--wide"', html)
        self.assertIn('id="figures" class="field-row"', html)
        self.assertIn('<input type="hidden" name="step" value="2"', html)
        self.assertInHTML(
            '<button type="submit" name="save" value="Log the job" id="submit-id-save"'
            ' class="button button--next button--big">Log the job</button>',
            html,
        )
        self.assertInHTML(
            '<button type="button" name="later" value="Later" id="button-id-later" class="button">Later</button>', html
        )

    def test_without_its_own_form_tag(self):
        html = printed("{% crispy form %}", form=self.form(form_tag=False, disable_csrf=True))
        self.assertNotIn("<form", html)
        self.assertNotIn("csrfmiddlewaretoken", html)

    def test_errors_with_a_layout(self):
        html = printed("{% crispy form %}", form=self.form({"cycles": "0"}, form_error_title="The job is not logged"))
        self.assertIn("The job is not logged", html)
        self.assertIn('<a href="#id_cycles">', html)

    def test_a_helper_without_layout(self):
        form = Order()
        form.helper = FormHelper()
        form.helper.add_input(Submit("save", "Save"))
        html = printed("{% crispy form %}", form=form)
        well_formed(html)
        self.assertIn('<div class="actions"><button type="submit"', html)


class FormsetTests(SimpleTestCase):
    def test_rows_errors_and_management(self):
        orders = forms.formset_factory(Order, extra=2)
        html = printed("{{ formset|crispy }}", formset=orders())
        well_formed(html)
        self.assertIn('name="form-TOTAL_FORMS"', html)
        bad = orders({"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0", "form-0-cycles": "0"})
        for source in ("{{ formset|crispy }}", "{% crispy formset %}", "{% crispy formset helper %}"):
            helper = FormHelper()
            helper.layout = Layout("cycles")
            html = printed(source, formset=bad, helper=helper)
            well_formed(html)
            self.assertIn('<a href="#id_form-0-cycles">', html)
            self.assertIn('id="id_form-0-cycles_error"', html)

    def test_tampered_management(self):
        html = printed("{{ formset|crispy }}", formset=forms.formset_factory(Order)({"form-TOTAL_FORMS": "x"}))
        self.assertIn("ManagementForm", html)


def test_every_template_of_the_pack_is_used():
    """A template that nothing includes, extends or asks for would only mislead."""
    from pathlib import Path

    folder = Path(__file__).resolve().parent.parent.parent / "templates"
    asked_by_crispy = {"field", "uni_form", "uni_formset", "whole_uni_form", "whole_uni_formset"}
    asked_by_crispy |= {"layout/" + name for name in ("baseinput", "buttonholder", "column", "div", "fieldset", "row")}
    sources = "".join(path.read_text() for path in folder.rglob("*.html"))
    for path in (folder / "cloth").rglob("*.html"):
        name = str(path.relative_to(folder / "cloth").with_suffix(""))
        assert name in asked_by_crispy or f'"cloth/{name}.html"' in sources, name


def test_the_shapes_are_sound_svg():
    from apps.core.templatetags.house import SHAPES, STATES

    for inner in SHAPES.values():
        ElementTree.fromstring(f"<svg>{inner}</svg>")
    assert {shape for shape, _ in STATES.values()} <= set(SHAPES)
