"""A manager holds a figure against the lab's own copy of the standard."""

import threading
import time
import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, transaction
from django.utils.html import escape

from apps.core.errors import KeyReused, Refusal
from apps.methods.models import Confirmation, Figure
from apps.methods.queries import standing, unconfirmed
from apps.methods.standing import load
from apps.trail.queries import timeline
from tests.accounts.bad import BAD
from tests.cast import NOON, LabTestCase
from tests.methods.support import NOTE, a_figure, confirm, drying, method, used, wash
from tests.racing import at_once

AGITATION = ("procedure:aatcc-1-iii", "agitation")
TEMPERATURE = ("procedure:aatcc-1-iii", "wash temperature")
LIQUOR = ("procedure:iso-6330-2012-4n", "liquor level")
EXHAUST = ("drying:iso-6330-2012-f-low", "dryer exhaust")


class ConfirmTests(LabTestCase):
    def refused(self, code: str, act, field: str | None = None) -> str:
        before = Confirmation.objects.count()
        with self.assertRaises(Refusal) as caught, transaction.atomic():
            act()
        self.assertEqual((caught.exception.code, caught.exception.field), (code, field))
        self.assertEqual(Confirmation.objects.count(), before)
        return str(caught.exception)

    def test_what_the_copy_says_too_is_to_be_confirmed_no_more(self):
        figure = a_figure(*AGITATION)
        self.assertIn(figure, unconfirmed(figure.owner))
        said = confirm(self, figure)
        self.assertEqual((said.was, said.value, said.ordinal, said.overrides), (figure.value, figure.value, 1, False))
        self.assertEqual((said.by, said.at, said.note), (self.mara, NOON, NOTE))
        self.assertNotIn(figure, unconfirmed(figure.owner))
        self.assertFalse(Figure.objects.get(pk=figure.pk).to_confirm)
        (entry,) = timeline(figure.owner)
        self.assertEqual((entry.kind, entry.actor_name), ("figure.confirmed", "Mara Manager"))
        self.assertEqual((entry.facts["name"], entry.facts["note"]), ("agitation", NOTE))

    def test_another_value_holds_and_the_catalogues_stays_to_be_read(self):
        figure = a_figure(*AGITATION)
        self.assertTrue(confirm(self, figure, "88 ± 2 strokes/min").overrides)
        figure = Figure.objects.get(pk=figure.pk)
        self.assertEqual((figure.value, figure.stands), ("86 ± 2 strokes/min", "88 ± 2 strokes/min"))
        entry = timeline(figure.owner)[0]
        self.assertEqual((entry.kind, entry.facts["was"]), ("figure.overridden", "86 ± 2 strokes/min"))

    def test_what_was_not_known_is_filled_in(self):
        figure = a_figure(*LIQUOR)
        confirm(self, figure, "15 cm")
        self.assertEqual(Figure.objects.get(pk=figure.pk).stands, "15 cm")
        (told,) = standing(figure.owner, ["liquor level"])
        self.assertEqual((told.value, told.source, told.to_confirm), ("15 cm", f"the lab's own copy, {NOTE}", False))

    def test_the_rules_reckon_with_what_was_set(self):
        confirm(self, a_figure(*TEMPERATURE), "42.5 ± 2 °C (108 °F)")
        changed = wash()
        self.assertEqual((changed.wash_temp_c, changed.wash_temp_tolerance_c), (Decimal("42.5"), Decimal(2)))
        confirm(self, a_figure(*EXHAUST), "at most 55 °C")
        self.assertEqual(drying("iso-6330-2012-f-low").exhaust_limit_c, 55)
        confirm(self, a_figure("method:aatcc-tm150-2018", "pairs in each direction"), "2")
        confirm(self, a_figure("method:aatcc-tm150-2018", "averaging"), "mean of the specimens' changes")
        changed = method("aatcc-tm150-2018")
        self.assertEqual((changed.pairs_per_direction, changed.averaging), (2, "mean_of_changes"))
        confirm(
            self, a_figure("procedure:iso-6330-2012-4n", "specimens in the load"), "as much of it as the load takes"
        )
        self.assertFalse(wash("iso-6330-2012-4n").specimens_at_most_half)

    def test_other_words_for_the_same_number_change_no_rule(self):
        confirm(self, a_figure("method:aatcc-tm150-2018", "specimens"), "3 whole garments")
        self.assertEqual(method("aatcc-tm150-2018").specimens, 3)

    def test_an_edition_in_use_is_confirmed_and_never_altered(self):
        used(self)
        confirm(self, a_figure(*TEMPERATURE))
        told = self.refused(
            "edition_in_use",
            lambda: confirm(self, a_figure("procedure:aatcc-1-iii", "load, tolerance"), "± 110 g"),
            "value",
        )
        self.assertIn("make a copy of the lab's own", told)
        self.assertEqual(wash().load_tolerance_g, 100)
        # What steers nothing can still be filled in or told otherwise.
        confirm(self, a_figure(*AGITATION), "88 ± 2 strokes/min")

    def test_a_new_word_on_the_same_figure_stands_after_the_old(self):
        figure = a_figure(*AGITATION)
        first = confirm(self, figure)
        second = confirm(self, Figure.objects.get(pk=figure.pk), "88 ± 2 strokes/min", note="a later print")
        self.assertEqual((first.ordinal, second.ordinal, second.was), (1, 2, figure.value))
        self.assertEqual(Figure.objects.get(pk=figure.pk).standing, second)

    def test_a_figure_that_is_sure_may_be_held_against_the_copy_too(self):
        figure = a_figure("procedure:aatcc-1-iii", "alternate load")
        self.assertEqual(confirm(self, figure).value, "3600 g")

    def test_the_practice_at_garments_belongs_to_no_row(self):
        figure = a_figure("points:garments", "left and right")
        confirm(self, figure)
        self.assertEqual(timeline("points:garments").count(), 1)

    def test_loading_the_catalogue_again_leaves_it(self):
        confirm(self, a_figure(*TEMPERATURE), "42 ± 2 °C")
        load()
        self.assertEqual(wash().wash_temp_c, 42)
        self.assertEqual(a_figure(*TEMPERATURE).stands, "42 ± 2 °C")

    def test_refuses_a_page_that_showed_something_else(self):
        figure = a_figure(*AGITATION)
        confirm(self, figure, "88 ± 2 strokes/min")
        told = self.refused("stale_page", lambda: confirm(self, figure, shown_value=figure.value))
        self.assertIn("88 ± 2", told)

    def test_refuses_what_is_confirmed_already(self):
        figure = a_figure(*AGITATION)
        confirm(self, figure)
        told = self.refused("already_confirmed", lambda: confirm(self, figure))
        self.assertIn("Mara Manager", told)

    def test_refuses_what_is_left_out(self):
        self.refused("value_missing", lambda: confirm(self, a_figure(*LIQUOR)), "value")
        self.refused("value_missing", lambda: confirm(self, a_figure(*AGITATION), "  "), "value")
        self.refused("note_missing", lambda: confirm(self, a_figure(*AGITATION), note=" \n"), "note")
        self.refused("future", lambda: confirm(self, a_figure(*AGITATION), at=NOON + timedelta(hours=1)))

    def test_refuses_a_number_that_the_rules_cannot_take(self):
        bad = {
            "warm": "not_a_number",
            "forty ± three °C": "not_a_number",
            "105 ± 5 °F": "not_a_number",
            "40 K": "not_a_number",
            "-40 ± 3 °C": "not_a_number",
            "− 40 ± 3 °C": "not_a_number",
            "1e999 °C": "not_a_number",
            "NaN °C": "not_a_number",
            "٤٠ ± 3 °C": "not_a_number",
            "1,8 ± 3 °C": "not_a_number",
            "40": "not_a_number",
            "40 °C": "tolerance",
            "400 ± 3 °C": "out_of_range",
            "0 ± 3 °C": "out_of_range",
            "40 ± 300 °C": "out_of_range",
            "40.25 ± 3 °C": "decimals",
            "x" * 10_000: "too_long",
            "40 ± 3 °C \0": "not_text",
        }
        for text, code in bad.items():
            with self.subTest(text[:20]):
                self.refused(code, lambda text=text: confirm(self, a_figure(*TEMPERATURE), text), "value")
        self.assertEqual(wash().wash_temp_c, 41)

    def test_refuses_units_that_are_not_the_columns(self):
        for owner, name, texts in (
            ("procedure:aatcc-1-iii", "load", ("4 lb", "1.8 kg", "1,800 g", "1800")),
            ("procedure:aatcc-1-iii", "detergent for this load", ("1.33 ± 1 g/L", "66 g")),
            ("method:aatcc-tm135-2018-small", "distance of the marks", ("10 in", "250 cm", "250")),
            ("method:aatcc-tm135-2018-small", "reported to the nearest", ("0.1", "a tenth")),
            ("method:aatcc-tm135-2018-small", "specimens", ("3.5", "3,5", "1e999", "none", "0", "21")),
            ("method:aatcc-tm135-2018-small", "averaging", ("both", "ratio_of_means")),
        ):
            for text in texts:
                with self.subTest(name=name, text=text), self.assertRaises(Refusal) as caught:
                    confirm(self, a_figure(owner, name), text)
                self.assertEqual(caught.exception.field, "value")

    def test_refuses_marks_that_do_not_fit_and_two_rows_alike(self):
        marks = a_figure("method:aatcc-tm135-2018-small", "distance of the marks")
        self.refused("marks_do_not_fit", lambda: confirm(self, marks, "380 mm"), "value")
        side = a_figure("method:aatcc-tm135-2018-small", "side of a specimen")
        confirm(self, side, "610 mm")
        self.refused("two_alike", lambda: confirm(self, marks, "460 mm"), "value")

    def test_what_is_more_than_a_number_is_confirmed_as_it_stands(self):
        for owner, name in (
            ("drying:aatcc-b", "drying"),
            ("drying:aatcc-b", "hanging"),
            ("extra:aatcc-tm207-2017", "formula"),
        ):
            figure = a_figure(owner, name)
            self.refused("as_it_stands", lambda figure=figure: confirm(self, figure, "otherwise"), "value")
            confirm(self, figure)

    def test_the_same_form_twice_is_one_word(self):
        figure, key = a_figure(*AGITATION), uuid.uuid4()
        first = confirm(self, figure, key=key)
        self.assertEqual(confirm(self, figure, key=key), first)
        self.assertEqual(timeline(figure.owner).count(), 1)
        with self.assertRaises(KeyReused):
            confirm(self, figure, note="another", key=key)
        with self.assertRaises(KeyReused):
            confirm(self, figure, by=self.bea, key=key)

    def test_the_database_agrees(self):
        figure = a_figure(*AGITATION)
        said = confirm(self, figure)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Confirmation.objects.filter(pk=said.pk).update(value="x")
        with self.assertRaises(IntegrityError), transaction.atomic():
            Confirmation.objects.create(figure=figure, ordinal=1, value="x", note="x", by=self.mara, at=NOON)

    def test_an_edition_not_seen_is_filled_in_figure_by_figure(self):
        row = method("aatcc-tm135-2004")
        for name, value in (
            ("specimens", "3"),
            ("pairs in each direction", "3"),
            ("side of a specimen", "380 mm"),
            ("distance of the marks", "250 mm"),
            ("averaging", "change of the mean lengths"),
            ("smallest reading", "1 mm"),
            ("reported to the nearest", "0.1 %"),
        ):
            self.assertFalse(row.is_complete)
            confirm(self, a_figure(row.owner, name), value)
            row.refresh_from_db()
        self.assertTrue(row.is_complete)
        self.assertEqual((row.specimen_side_mm, row.averaging), (380, "ratio_of_means"))


class PageTests(LabTestCase):
    def setUp(self):
        self.figure = a_figure(*AGITATION)
        self.address = f"/methods/figures/{self.figure.pk}/"
        self.sign_in(self.mara)

    def post(self, **more):
        shown = Figure.objects.get(pk=self.figure.pk).stands
        return self.client.post(self.address, {"shown": shown, "value": shown, "note": NOTE, **more})

    def test_confirms_and_comes_back_to_its_row(self):
        page = self.client.get(self.address)
        self.assertContains(page, "86 ± 2 strokes/min")
        self.assertContains(page, "from memory of the standard, not seen")
        back = self.post()
        self.assertRedirects(
            back, f"/methods/washes/aatcc-1-iii/#figure-{self.figure.pk}", fetch_redirect_response=False
        )
        page = self.client.get("/methods/washes/aatcc-1-iii/")
        self.assertContains(page, "Agitation is confirmed: 86 ± 2 strokes/min.")
        self.assertContains(page, f'Mara Manager, <time datetime="2026-03-02">2 Mar 2026</time>: {escape(NOTE)}')
        self.assertContains(self.client.get(self.address), "Confirmed: 86 ± 2 strokes/min")

    def test_a_stale_page_shows_what_holds_and_keeps_what_was_typed(self):
        shown = self.figure.value
        confirm(self, self.figure, "88 ± 2 strokes/min")
        page = self.post(shown=shown, value="90 ± 2 strokes/min")
        self.assertContains(page, "It now says 88 ± 2 strokes/min", status_code=422)
        self.assertContains(page, 'value="90 ± 2 strokes/min"', status_code=422)
        self.assertContains(page, 'name="shown" value="88 ± 2 strokes/min"', status_code=422)

    def test_bad_input_gets_a_sentence_and_is_kept(self):
        for text in BAD:
            with self.subTest(text[:20]):
                page = self.post(value=text, note=text)
                self.assertIn(page.status_code, (302, 422))
                self.assertNotContains(page, "<script>alert", status_code=page.status_code)
        self.figure = a_figure(*TEMPERATURE)
        self.address = f"/methods/figures/{self.figure.pk}/"
        for text in BAD:
            with self.subTest(text[:20]):
                page = self.post(value=text)
                self.assertEqual(page.status_code, 422)
                self.assertTrue(page.context["form"].errors["value"])
        self.assertEqual(wash().wash_temp_c, 41)

    def test_a_tampered_post_is_answered(self):
        for data in (
            {},
            {"shown": "x" * 10_000},
            {"value": "1"},
            {"note": NOTE},
            {"shown": "\0", "value": "1", "note": "1"},
        ):
            with self.subTest(str(data)[:30]):
                self.assertEqual(self.client.post(self.address, data).status_code, 422)
        self.assertEqual(self.client.post("/methods/figures/987654321/").status_code, 404)

    def test_a_choice_is_offered_as_a_list(self):
        figure = a_figure("method:aatcc-tm135-2018-small", "averaging")
        page = self.client.get(f"/methods/figures/{figure.pk}/")
        self.assertContains(page, '<option value="mean of the specimens&#x27; changes">')

    def test_who_may(self):
        for name, person in self.by_role().items():
            self.sign_in(person)
            wanted = {"nobody": 302, "mara": 200}.get(name, 403)
            with self.subTest(name):
                self.assertEqual(self.client.get(self.address).status_code, wanted)
                if name != "mara":
                    self.assertEqual(self.post().status_code, 302 if name == "nobody" else 403)
        self.assertFalse(Confirmation.objects.exists())

    def by_role(self):
        names = ("fran", "bea", "lou", "mara", "casey", "dana")
        return {"nobody": None, **{name: getattr(self, name) for name in names}}

    def test_does_not_grow(self):
        def queries() -> None:
            with self.assertNumQueries(6):
                self.client.get(self.address)

        queries()
        for n in range(20):
            confirm(self, Figure.objects.get(pk=self.figure.pk), f"{n} strokes/min")
        queries()


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_of_eight_who_saw_the_same_page_one_is_heard(people):
    figure = a_figure(*AGITATION)
    seen = figure.stands  # read once, as a page is: asked again in a late thread it would be the new value
    acts = [lambda n=n: confirm(people, figure, f"{n} strokes/min", shown_value=seen) for n in range(8)]

    def told(outcome):
        return "heard" if isinstance(outcome, Confirmation) else getattr(outcome, "code", repr(outcome))

    codes = sorted(told(outcome) for outcome in at_once(*acts))
    assert codes == ["heard"] + ["stale_page"] * 7
    assert Confirmation.objects.count() == timeline(figure.owner).count() == 1


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_one_form_sent_eight_times_is_answered_eight_times(people):
    figure, key = a_figure("points:garments", "left and right"), uuid.uuid4()
    answers = at_once(*[lambda: confirm(people, figure, key=key).pk] * 8)
    assert set(answers) == {Confirmation.objects.get().pk}


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_the_first_request_of_an_edition_waits_for_the_number_being_set(people):
    """Else it would stand before a change that looked and found no request."""
    changed, order = threading.Event(), []

    def override():
        with transaction.atomic():
            confirm(people, a_figure(*TEMPERATURE), "42 ± 2 °C")
            changed.set()
            time.sleep(1)
            order.append("the number is set")

    def receive():
        changed.wait(10)
        used(people)
        order.append("the request is made")

    at_once(override, receive)
    assert order == ["the number is set", "the request is made"]
    assert wash().wash_temp_c == 42
    with pytest.raises(Refusal, match="is in use"):
        confirm(people, a_figure(*TEMPERATURE), "43 ± 2 °C")
