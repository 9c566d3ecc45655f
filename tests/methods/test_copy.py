"""The lab makes a wash, a drying or a method of its own after one that is in the catalogue."""

import uuid
from decimal import Decimal

import pytest
from django.db import transaction

from apps.core.errors import Refusal
from apps.methods import queries, services
from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.trail.queries import timeline
from tests.accounts.bad import BAD
from tests.cast import NOON, LabTestCase
from tests.methods.support import (
    a_figure,
    confirm,
    confirm_all,
    drying,
    drying_numbers,
    method,
    method_numbers,
    used,
    wash,
    wash_numbers,
)
from tests.racing import at_once


class CopyTestCase(LabTestCase):
    def copy_wash(self, code: str = "aatcc-1-iii", label: str = "Cotton 35", changes=None, **more):
        origin = wash(code)
        numbers = wash_numbers(origin, **(changes or {}))
        who = {"by": self.mara, "at": NOON}
        return services.copy_procedure(procedure_id=origin.pk, label=label, numbers=numbers, **who, **more)

    def copy_drying(self, code: str = "aatcc-a-i", label: str = "Tumble 50", changes=None, **more):
        origin = drying(code)
        numbers = drying_numbers(origin, **(changes or {}))
        who = {"by": self.mara, "at": NOON}
        return services.copy_drying(drying_id=origin.pk, label=label, numbers=numbers, **who, **more)

    def copy_method(self, code="aatcc-tm135-2018-small", designation="Lab 12", edition="1", changes=None, **more):
        origin = method(code)
        numbers = method_numbers(origin, **(changes or {}))
        names = {"designation": designation, "edition": edition}
        return services.copy_method(method_id=origin.pk, **names, numbers=numbers, by=self.mara, at=NOON, **more)

    def refused(self, code: str, field: str | None, act) -> str:
        models = (TestMethod, LaunderingProcedure, DryingProcedure, Figure)
        before = [model.objects.count() for model in models]
        with self.assertRaises(Refusal) as caught, transaction.atomic():
            act()
        self.assertEqual((caught.exception.code, caught.exception.field), (code, field))
        self.assertEqual([model.objects.count() for model in models], before)
        return str(caught.exception)


class CopyWashTests(CopyTestCase):
    def test_says_that_it_is_the_labs_own_and_after_what(self):
        made = self.copy_wash(changes={"wash_temp_c": Decimal(35), "load_mass_g": Decimal(3600)})
        self.assertEqual((str(made), made.code), ("Cotton 35 (lab's own)", "own-cotton-35"))
        self.assertEqual(made.title, "Normal, 35 °C; lab's own, after AATCC LP1 (1) III")
        self.assertEqual(made.source, "lab's own, after AATCC LP1 (1) III")
        self.assertEqual(made.copied_from, wash())
        self.assertEqual((made.wash_temp_c, made.load_mass_g, made.wash_temp_tolerance_c), (35, 3600, 3))
        self.assertEqual((made.machine_kind, made.family), (wash().machine_kind, "aatcc"))

    def test_goes_with_the_methods_of_the_same_family(self):
        made = self.copy_wash()
        self.assertIn(made, queries.procedures_for(method()))
        self.assertNotIn(made, queries.procedures_for(method("aatcc-tm135-2003-small")))
        request = used(self, procedure=made)
        self.assertEqual(request.procedure, made)

    def test_a_number_set_anew_is_the_labs_and_the_others_keep_their_standing(self):
        confirm(self, a_figure("procedure:aatcc-1-iii", "agitation"))
        made = self.copy_wash(changes={"wash_temp_tolerance_c": Decimal(2), "detergent": "reference detergent 3"})
        figures = {figure.name: figure for figure in Figure.objects.filter(owner=made.owner)}
        self.assertEqual(len(figures), Figure.objects.filter(owner="procedure:aatcc-1-iii").count())
        told = {name: (figures[name].value, figures[name].confidence) for name in figures}
        self.assertEqual(told["wash temperature"], ("41 ± 2 °C", "H"))
        self.assertEqual(told["detergent"], ("reference detergent 3", "H"))
        self.assertEqual(told["agitation"], ("86 ± 2 strokes/min", "H"))  # confirmed before it was copied
        self.assertEqual(told["wash time"], ("16 ± 1 min", "M"))
        self.assertEqual(told["detergent for the alternate load"], ("", "U"))
        self.assertEqual(figures["wash temperature"].source, "lab's own, set when it was copied from AATCC LP1 (1) III")
        self.assertEqual(
            figures["wash time"].source,
            "lab's own, copied from AATCC LP1 (1) III: AATCC LP1 and TM135-2018, from memory of the standard, not seen",
        )
        self.assertIn("clause 6", figures["agitation"].source)
        self.assertEqual(queries.unconfirmed(made).filter(name="wash time").count(), 1)

    def test_what_the_lab_set_is_what_is_copied(self):
        confirm(self, a_figure("procedure:aatcc-1-iii", "agitation"), "88 ± 2 strokes/min")
        made = self.copy_wash()
        self.assertEqual(a_figure(made.owner, "agitation").value, "88 ± 2 strokes/min")
        self.assertIn("the lab's copy of the standard", a_figure(made.owner, "agitation").source)

    def test_every_number_of_the_copy_has_its_figure(self):
        changes = {"programme": "my own 7", "wash_temp_c": Decimal(30), "wash_temp_tolerance_c": Decimal(2)}
        dose = {"detergent_g": Decimal(80), "detergent_tolerance_g": Decimal(1)}
        made = self.copy_wash("iso-6330-2012-type-b", "Top loader 30", {**changes, **dose})
        figures = {figure.field: figure for figure in Figure.objects.filter(owner=made.owner) if figure.field}
        self.assertEqual(figures["detergent_g"].value, "80 ± 1 g")
        self.assertEqual(figures["wash_temp_c"].value, "30 ± 2 °C")
        self.assertEqual(figures["programme"].value, "my own 7")
        self.assertTrue(made.is_complete and not made.retired)
        self.assertIn(made, queries.procedures_for(method("iso-5077-2007-6330-2012")))

    def test_a_copy_of_a_copy_names_the_first_source_once(self):
        first = self.copy_wash()
        second = self.copy_wash(first.code, "Cotton 36")
        self.assertEqual(second.title, "Normal, 41 °C; lab's own, after Cotton 35 (lab's own)")
        source = a_figure(second.owner, "wash time").source
        self.assertTrue(source.startswith("lab's own, copied from Cotton 35 (lab's own): AATCC LP1 and TM135"), source)

    def test_a_used_edition_may_be_copied_and_stays(self):
        used(self)
        before = LaunderingProcedure.objects.filter(code="aatcc-1-iii").values().get()
        self.copy_wash(changes={"wash_temp_c": Decimal(35)})
        self.assertEqual(LaunderingProcedure.objects.filter(code="aatcc-1-iii").values().get(), before)

    def test_is_written_into_the_history_of_both(self):
        made = self.copy_wash(changes={"wash_temp_c": Decimal(35)})
        for stream in (made.owner, "procedure:aatcc-1-iii"):
            (entry,) = timeline(stream)
            self.assertEqual((entry.kind, entry.actor_name), ("catalogue.copied", "Mara Manager"))
            self.assertEqual(entry.facts["numbers"], {"wash_temp_c": "35"})

    def test_refuses_a_name_that_is_taken_or_missing(self):
        self.refused("label_missing", "label", lambda: self.copy_wash(label="  "))
        self.refused("name_taken", "label", lambda: self.copy_wash(label="(1) III"))
        self.copy_wash()
        self.refused("name_taken", "label", lambda: self.copy_wash(label="COTTON  35"))
        self.refused("too_long", "label", lambda: self.copy_wash(label="x" * 81))
        self.copy_wash("iso-6330-2012-4n", "Cotton 35")  # another family: another wash

    def test_refuses_numbers_that_cannot_be_meant(self):
        bad = {
            "wash_temp_c": ("out_of_range", Decimal(0), Decimal(100), Decimal("NaN"), Decimal(-40)),
            "wash_temp_tolerance_c": ("out_of_range", Decimal(-1), Decimal(21)),
            "load_mass_g": ("out_of_range", Decimal(99), Decimal(10) ** 9),
            "load_tolerance_g": ("decimals", Decimal("0.25")),
            "ballast_piece_g": ("missing", None),
            "programme": ("missing", "", " "),
            "ballast": ("too_long", "x" * 121),
            "detergent": ("not_text", "a\0b"),
            "detergent_tolerance_g": ("dose", None),
        }
        for field, (code, *values) in bad.items():
            for value in values:
                with self.subTest(field=field, value=str(value)[:10]):
                    self.refused(code, field, lambda f=field, v=value: self.copy_wash(changes={f: v}))

    def test_a_lab_that_does_not_know_the_dose_may_say_so(self):
        made = self.copy_wash(changes={"detergent_g": None, "detergent_tolerance_g": None})
        self.assertEqual(a_figure(made.owner, "detergent for this load").confidence, "U")

    def test_the_same_form_twice_is_one_copy(self):
        key = uuid.uuid4()
        self.assertEqual(self.copy_wash(key=key), self.copy_wash(key=key))


class CopyDryingTests(CopyTestCase):
    def test_a_tumble_dryer_of_the_labs_own(self):
        made = self.copy_drying(changes={"exhaust_max_c": Decimal(50), "exhaust_tolerance_c": None})
        self.assertEqual(str(made), "Tumble 50 tumble dry, normal; lab's own, after AATCC A(i) tumble dry, normal")
        self.assertEqual((made.kind, made.exhaust_limit_c), ("tumble", 50))
        figure = a_figure(made.owner, "dryer exhaust")
        self.assertEqual((figure.value, figure.confidence), ("50 °C", "H"))
        self.assertIn(made, queries.dryings_for(method()))

    def test_another_instruction_on_the_line(self):
        made = self.copy_drying("aatcc-b", "Line in the yard", {"instruction": "Hang over the line, middle on top."})
        self.assertEqual(a_figure(made.owner, "hanging").value, "Hang over the line, middle on top.")
        self.assertEqual(a_figure(made.owner, "hanging").confidence, "H")

    def test_never_a_letter_alone(self):
        for label in ("A", "b", "F (low)", "A(i)", "(A)", '"A"'):
            with self.subTest(label):
                self.refused("bare_letter", "label", lambda label=label: self.copy_drying(label=label))

    def test_refuses_what_does_not_belong_to_its_kind(self):
        bad = {
            "aatcc-b": ("exhaust", "exhaust_max_c", {"exhaust_max_c": Decimal(60)}),
            "aatcc-a-i": ("exhaust", "exhaust_max_c", {"exhaust_max_c": None}),
            "aatcc-c": ("instruction_missing", "instruction", {"instruction": " "}),
        }
        for code, (refusal, field, changes) in bad.items():
            self.refused(refusal, field, lambda code=code, changes=changes: self.copy_drying(code, changes=changes))
        self.refused("name_taken", "label", lambda: self.copy_drying(label="aatcc b"))


class CopyMethodTests(CopyTestCase):
    def test_says_that_it_is_the_labs_own_and_after_what(self):
        made = self.copy_method(changes={"specimens": 5, "rounding_step": Decimal("0.5")})
        self.assertEqual(str(made), "Lab 12, edition 1 (lab's own)")
        self.assertEqual(
            made.title, "Dimensional changes of fabrics after home laundering; lab's own, after AATCC TM135-2018"
        )
        self.assertEqual((made.specimens, made.rounding_step, made.in_scope), (5, Decimal("0.5"), False))
        self.assertEqual(a_figure(made.owner, "specimens").value, "5")
        self.assertEqual(a_figure(made.owner, "reported to the nearest").value, "0.5 %")
        self.assertEqual(a_figure(made.owner, "side of a specimen").value, "380 mm")

    def test_is_offered_with_the_washes_of_its_origin(self):
        made = self.copy_method()
        self.assertIn(made, queries.offered_methods("fabric"))
        self.assertEqual(list(queries.procedures_for(made)), list(queries.procedures_for(method())))
        self.assertEqual(used(self, method=made.code).method, made)

    def test_a_copy_is_outside_the_accreditation_until_it_is_put_within(self):
        confirm_all(self, method())
        services.set_scope(method_id=method().pk, in_scope=True, by=self.mara, at=NOON)
        self.assertFalse(self.copy_method().in_scope)

    def test_an_edition_not_seen_becomes_the_labs_own_once_all_is_given(self):
        numbers = {
            "specimens": 3,
            "pairs_per_direction": 3,
            "specimen_side_mm": Decimal(380),
            "benchmark_mm": Decimal(250),
            "averaging": "ratio_of_means",
            "rounding_step": Decimal("0.1"),
            "reading_resolution_mm": Decimal(1),
        }
        made = self.copy_method("aatcc-tm135-2004", changes=numbers)
        self.assertTrue(made.is_complete and not made.retired)
        self.assertEqual(a_figure(made.owner, "averaging").value, "change of the mean lengths")
        for field in numbers:
            with self.subTest(field):
                code = {"averaging": "averaging", "specimen_side_mm": "side"}.get(field, "missing")
                empty = {**numbers, field: "" if field == "averaging" else None}
                act = lambda empty=empty: self.copy_method("aatcc-tm135-2004", "Lab 13", changes=empty)  # noqa: E731
                self.refused(code, field, act)

    def test_a_garment_has_no_side(self):
        made = self.copy_method("aatcc-tm150-2018", changes={"benchmark_mm": Decimal(460)})
        self.assertIsNone(made.specimen_side_mm)
        changes = {"specimen_side_mm": Decimal(380)}
        self.refused("side", "specimen_side_mm", lambda: self.copy_method("aatcc-tm150-2018", "L", changes=changes))

    def test_refuses_a_name_of_the_standards_or_of_another(self):
        self.refused("name_taken", "designation", lambda: self.copy_method(designation="aatcc tm135", edition="2030"))
        self.refused("designation_missing", "designation", lambda: self.copy_method(designation=" "))
        self.refused("edition_missing", "edition", lambda: self.copy_method(edition=""))
        made = self.copy_method()
        self.refused("name_taken", "edition", lambda: self.copy_method(designation="LAB 12"))
        self.copy_method(made.code, edition="2")

    def test_refuses_numbers_that_cannot_be_meant(self):
        for field, value, code in (
            ("benchmark_mm", Decimal(380), "marks_do_not_fit"),
            ("benchmark_mm", Decimal(5), "out_of_range"),
            ("specimens", 0, "out_of_range"),
            ("pairs_per_direction", 21, "out_of_range"),
            ("rounding_step", Decimal(0), "out_of_range"),
            ("rounding_step", Decimal("0.005"), "out_of_range"),
            ("reading_resolution_mm", Decimal("0.0001"), "out_of_range"),
            ("averaging", "both", "averaging"),
        ):
            with self.subTest(field=field, value=value):
                self.refused(code, field, lambda f=field, v=value: self.copy_method(changes={f: v}))


class CopyPageTests(LabTestCase):
    ADDRESSES = ("/methods/washes/aatcc-1-iii/copy/", "/methods/dryings/aatcc-a-i/copy/",
                 "/methods/aatcc-tm135-2018-small/copy/")  # fmt: skip
    NAMES = ({"label": "Cotton 35"}, {"label": "Tumble 50"}, {"designation": "Lab 12", "edition": "1"})

    def setUp(self):
        self.sign_in(self.mara)

    def shown(self, address: str) -> dict[str, str]:
        form = self.client.get(address).context["form"]
        return {name: form[name].value() or "" for name in form.fields}

    def test_what_is_shown_and_named_is_copied(self):
        for address, names in zip(self.ADDRESSES, self.NAMES, strict=True):
            with self.subTest(address):
                page = self.client.post(address, {**self.shown(address), **names}, follow=True)
                self.assertEqual(page.status_code, 200)
                self.assertContains(page, "is in the catalogue and offered from now on")
                self.assertContains(page, "copied from <a")

    def test_numbers_with_a_comma_are_read(self):
        address = self.ADDRESSES[0]
        self.client.post(address, {**self.shown(address), "label": "Cotton", "wash_temp_c": "37,5"})
        self.assertEqual(wash("own-cotton").wash_temp_c, Decimal("37.5"))

    def test_bad_input_in_each_field_gets_a_sentence_and_keeps_the_rest(self):
        for address, names in zip(self.ADDRESSES, self.NAMES, strict=True):
            shown = {**self.shown(address), **names}
            for field in shown:
                for bad in BAD:
                    if self.may_be(field, bad):
                        continue
                    with self.subTest(address=address, field=field, bad=bad[:12]):
                        page = self.client.post(address, {**shown, field: bad})
                        form = page.context["form"]
                        self.assertEqual(page.status_code, 422)
                        self.assertTrue(form.errors, field)
                        for other in set(shown) - {field}:
                            self.assertEqual(form[other].value(), shown[other])
        self.assertFalse(LaunderingProcedure.objects.filter(copied_from__isnull=False).exists())

    def may_be(self, field: str, bad: str) -> bool:
        """Not bad at all there: words like others, or a field that may be empty."""
        optional = ("title", "detergent_g", "detergent_tolerance_g", "exhaust_tolerance_c")
        texts = {"label", "title", "designation", "edition", "programme", "ballast", "detergent", "instruction"}
        short = bad.strip() and len(bad) <= (20 if field == "edition" else 40) and "\0" not in bad
        if not bad.strip():
            return field in optional
        return (field in texts and bool(short)) or (field == "instruction" and len(bad) == 300)

    def test_words_are_never_markup(self):
        address = self.ADDRESSES[0]
        page = self.client.post(address, {**self.shown(address), "label": '"><script>alert(1)</script>'}, follow=True)
        self.assertNotContains(page, "<script>alert")

    def test_tampered_posts(self):
        for address in self.ADDRESSES:
            self.assertEqual(self.client.post(address, {}).status_code, 422)
            self.assertEqual(self.client.post(address, {"averaging": "\0", "label": ["a", "b"]}).status_code, 422)
        for address in ("/methods/washes/none/copy/", "/methods/dryings/none/copy/", "/methods/none/copy/"):
            self.assertEqual(self.client.post(address, {}).status_code, 404)

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "casey", "dana"):
            self.sign_in(getattr(self, name))
            for address in self.ADDRESSES:
                self.assertEqual(self.client.get(address).status_code, 403)
                self.assertEqual(self.client.post(address, {}).status_code, 403)
        self.sign_in(None)
        self.assertEqual(self.client.get(self.ADDRESSES[0]).status_code, 302)


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_one_name_asked_for_by_eight_is_given_once(people):
    origin = wash()
    acts = [
        lambda: services.copy_procedure(
            procedure_id=origin.pk, label="Cotton 35", numbers=wash_numbers(origin), by=people.mara, at=NOON
        )
    ] * 8
    codes = sorted(getattr(outcome, "code", "?") for outcome in at_once(*acts))
    assert codes == ["name_taken"] * 7 + ["own-cotton-35"]
