"""One load on one page: step by step, without script, refused beside the field, nothing typed lost."""

import re
import uuid
from datetime import timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from apps.core import clock
from apps.intake.models import Deviation, Specimen
from apps.laundering.models import CycleLog, Drying, Load, LoadCorrection
from tests.cast import NOON, LabTestCase
from tests.laundering.support import WASH, dried, dry, make_up, pieces_of, ready, start, tick_all, washed, whole_cycle

NONSENSE = ["", "abc", "-1", "1e999", "NaN", "1,800", "4\x000", "9" * 10_000, "👕"]


class OneLoad(LabTestCase):
    def setUp(self):
        self.sign_in(self.lou)

    def post(self, name: str, number: int, *more, **data):
        return self.client.post(reverse(f"laundering:{name}", args=[number, *more]), data)

    def page(self, load: Load):
        return self.client.get(f"/laundry/loads/{load.pk}/")


class ChainTests(OneLoad):
    def test_one_load_from_the_queue_to_the_bench(self):
        request = ready(self)
        ids = [piece.pk for piece in pieces_of(request)]
        self.assertContains(self.client.get("/laundry/"), "<b>3 pieces</b>", count=1)
        answer = self.client.post("/laundry/loads/", {"specimen": ids, "key": uuid.uuid4()})
        load = Load.objects.get()
        self.assertRedirects(answer, f"/laundry/loads/{load.pk}/")
        self.assertRedirects(self.post("start", load.pk, **WASH, washer=self.washers[0].pk), answer.url)
        self.assertContains(self.client.get("/laundry/"), "washing")
        self.assertRedirects(self.post("end", load.pk, spun="on"), answer.url)
        pieces, drying = list(load.pieces.values_list("pk", flat=True)), request.drying_id
        self.assertContains(self.page(load), '" checked', count=3)
        dryer = {f"dry-{drying}-dryer": self.dryers[0].pk}
        self.assertRedirects(self.post("start_drying", load.pk, drying, piece=pieces, **dryer), answer.url)
        run = Drying.objects.get()
        self.post("end_drying", run.pk, **{f"dried-{run.pk}-lint_filter_cleaned": "on"})
        page = self.page(load)
        self.assertContains(page, "Tick off all that are dry")
        self.assertContains(page, "hang with the fabric length vertical")
        shown = re.findall(r'name="piece" value="(\d+:\d+)"', page.content.decode())
        answer = self.client.post(f"/laundry/loads/{load.pk}/tick/", {"piece": shown}, follow=True)
        self.assertContains(answer, "readings are due")
        self.assertEqual(CycleLog.objects.count(), 3)
        self.assertNotContains(self.client.get("/laundry/"), f"Load {load.pk}<")


class WhoTests(LabTestCase):
    def test_laundry_and_managers_write_the_lab_reads_and_nobody_else(self):
        load = washed(self, ready(self))
        page = f"/laundry/loads/{load.pk}/"
        writes = ["start", "end", "void", "take_out", "tick_load", "correct"]
        expected = {"fran": 200, "bea": 200, "lou": 200, "mara": 200, "casey": 403, "dana": 403, "nobody": 302}
        for name, status in expected.items():
            self.sign_in(getattr(self, name, None))
            with self.subTest(name):
                self.assertEqual(self.client.get(page).status_code, status)
                for act in writes:
                    answer = self.client.post(reverse(f"laundering:{act}", args=[load.pk]), {})
                    may = name in ("lou", "mara")
                    self.assertIn(answer.status_code, (422, 404) if may else (403, 302), act)
        self.sign_in(self.bea)
        self.assertNotContains(self.client.get(page), '<form method="post" action="/laundry')

    def test_a_load_that_is_not_there_is_404(self):
        self.sign_in(self.lou)
        for number in ("987654321", "9" * 30):
            for tail in ("", "start/", "end/", "void/", "take-out/", "tick/", "correct/", "ballast/", "dry/1/"):
                self.assertEqual(self.client.get(f"/laundry/loads/{number}/{tail}").status_code, 404, tail)
                if tail not in ("", "ballast/"):
                    self.assertEqual(self.client.post(f"/laundry/loads/{number}/{tail}").status_code, 404, tail)
            self.assertEqual(self.client.post(f"/laundry/dryings/{number}/end/").status_code, 404)
            self.assertEqual(self.client.post(f"/laundry/specimens/{number}/tick/").status_code, 404)

    def test_an_act_is_posted_and_its_address_opened_leads_to_the_load(self):
        self.sign_in(self.lou)
        load = make_up(self, ready(self))
        for tail in ("start/", "end/", "void/", "take-out/", "tick/"):
            self.assertRedirects(self.client.get(f"/laundry/loads/{load.pk}/{tail}"), f"/laundry/loads/{load.pk}/")


class StartTests(OneLoad):
    def setUp(self):
        super().setUp()
        self.load = make_up(self, ready(self))

    def start(self, **how):
        return self.post("start", self.load.pk, **{"washer": self.washers[0].pk, **WASH, **how})

    def test_bad_input_is_told_beside_its_field_and_the_rest_is_kept(self):
        for field in ("specimen_mass_g", "ballast_mass_g", "ballast_pieces", "detergent_g", "water_temp_c"):
            for text in NONSENSE:
                with self.subTest(field=field, text=text[:9]):
                    page = self.start(**{field: text, "detergent_lot": "kept as typed"})
                    self.assertContains(page, "aria-invalid", status_code=422)
                    self.assertIn(field, page.context["start_form"].errors)
                    self.assertContains(page, "kept as typed", status_code=422)
        for field, text in (("washer", "9" * 30), ("washer", "x\x00"), ("temp_source", "x" * 10_000), ("when", "soon")):
            self.assertIn(field, self.start(**{field: text}).context["start_form"].errors)
        for field in ("ballast", "detergent", "detergent_lot", "deviation"):
            for text in ("x" * 10_000, "a\x00"):
                self.assertIn(field, self.start(**{field: text}).context["start_form"].errors)
        self.assertEqual(self.client.post(f"/laundry/loads/{self.load.pk}/start/", {}).status_code, 422)
        self.load.refresh_from_db()
        self.assertEqual(self.load.state, Load.State.MADE_UP)

    def test_a_choice_in_the_standard_is_never_prefilled_as_the_record(self):
        self.assertContains(self.page(self.load), 'value="1993 AATCC Standard Reference Detergent"')
        iso = make_up(self, ready(self, method="iso-5077-2007-6330-2012", originals="350"))
        page = self.page(iso)
        self.assertNotContains(page, 'value="reference detergent')
        self.assertContains(page, "reference detergent 2, 3 or 6")

    def test_a_front_loader_is_locked_when_its_water_comes(self):
        self.assertContains(self.page(self.load), "before the cloth is in")
        load = make_up(self, ready(self, method="iso-5077-2007-6330-2012", originals="350"))
        page = self.page(load)
        self.assertNotContains(page, "before the cloth is in")
        self.assertEqual(page.context["start_form"].initial["temp_source"], "display")
        page = self.post("start", load.pk, washer=self.washers[0].pk, **{**WASH, "water_temp_c": "20"})
        self.assertContains(page, "before you start it", status_code=422)

    def test_what_comes_from_paper_a_day_later_says_why(self):
        with clock.set_to(NOON + timedelta(days=1)):
            typed = {"when": timezone.localtime(NOON).strftime("%Y-%m-%dT%H:%M"), "detergent_lot": "kept"}
            page = self.start(**typed)
            self.assertEqual(set(page.context["start_form"].errors), {"late_reason"})
            self.assertContains(page, 'value="kept"', status_code=422)
            self.start(**typed, late_reason="the tablet was flat")
        self.load.refresh_from_db()
        self.assertEqual(self.load.wash_started_at, NOON)
        late = Deviation.objects.get(kind="late_entry")
        self.assertIn("Reason: the tablet was flat", late.text)

    def test_two_jobs_with_pieces_of_one_name_are_told_apart_before_the_wash(self):
        self.assertNotContains(self.page(self.load), "same code twice")
        load = make_up(self, ready(self), ready(self, count=1))
        self.assertContains(self.page(load), "More than one piece here is called A1.")

    def test_all_that_is_not_as_asked_is_told_and_a_deviation_offered(self):
        page = self.start(water_temp_c="20", detergent_g="1")
        self.assertEqual(set(page.context["start_form"].errors), {"water_temp_c", "detergent_g"})
        self.assertContains(page, "<details open>", status_code=422)
        page = self.start(water_temp_c="20", deviation="heater is weak")
        self.assertEqual(set(page.context["start_form"].errors), {"at_risk"})
        self.start(water_temp_c="20", deviation="heater is weak", at_risk="on")
        self.load.refresh_from_db()
        self.assertEqual(self.load.state, Load.State.WASHING)

    def test_a_manager_is_not_asked_about_risk(self):
        self.sign_in(self.mara)
        self.assertNotContains(self.page(self.load), "at risk")
        self.start(water_temp_c="20", deviation="heater is weak")
        self.load.refresh_from_db()
        self.assertEqual(self.load.wash_by, self.mara)

    def test_ballast_is_proposed(self):
        self.assertContains(self.page(self.load), "A piece of ballast weighs about 130 g")
        address = f"/laundry/loads/{self.load.pk}/ballast/"
        self.assertContains(self.client.get(address, {"specimen_mass_g": "240"}), "12 pieces of ballast")
        self.assertContains(self.client.get(address, {"specimen_mass_g": "2500"}), "Split them over more loads")
        for text in NONSENSE:
            self.assertEqual(self.client.get(address, {"specimen_mass_g": text}).status_code, 200)

    def test_the_same_pieces_weighed_before_are_remembered(self):
        request = ready(self, measured_after=(3,))
        before = whole_cycle(self, request)
        self.assertContains(self.page(make_up(self, request)), f"weighed 240 g in load {before.pk}")

    def test_a_moment_typed_is_the_moment_kept(self):
        self.start(when="2026-03-02T12:00")
        self.load.refresh_from_db()
        self.assertEqual(self.load.wash_started_at, NOON)
        page = self.post("end", self.load.pk, when="2026-03-02T11:00")
        self.assertIn("when", page.context["end_form"].errors)
        self.assertContains(page, 'value="2026-03-02T11:00"', status_code=422)

    def test_a_step_already_taken_by_somebody_else_is_told_on_top(self):
        start(self, self.load)
        page = self.start()
        self.assertContains(page, "Nothing was written", status_code=422)
        self.assertContains(page, "is washing", status_code=422)


class DryingTests(OneLoad):
    def test_pieces_of_another_load_are_offered(self):
        one, two = washed(self, ready(self)), washed(self, ready(self))
        page = self.page(one)
        self.assertContains(page, f"from load {two.pk}", count=3)
        self.assertContains(page, '" checked', count=3)

    def test_a_refusal_keeps_ticks_and_figures(self):
        load = washed(self, ready(self))
        procedure = load.pieces.first().specimen.request.drying_id
        first = load.pieces.first().pk
        page = self.post("start_drying", load.pk, procedure, piece=[first])
        self.assertContains(page, "Choose the dryer", status_code=422)
        self.assertContains(page, '" checked', count=1, status_code=422)
        for piece in ("", "x", "9" * 30, "987654321"):
            dryer = {f"dry-{procedure}-dryer": self.dryers[0].pk}
            self.assertContains(
                self.post("start_drying", load.pk, procedure, piece=piece, **dryer),
                "Choose the pieces",
                status_code=422,
            )

    def test_the_end_is_refused_beside_its_field(self):
        load = washed(self, ready(self))
        run = dry(self, load)
        name = f"dried-{run.pk}-"
        page = self.post("end_drying", run.pk, **{name + "exhaust_c": "90", name + "lint_filter_cleaned": "on"})
        self.assertContains(page, "allows 74 °C at most", status_code=422)
        for text in NONSENSE[1:]:
            page = self.post("end_drying", run.pk, **{name + "exhaust_c": text, name + "remark": "kept as typed"})
            self.assertContains(page, "kept as typed", status_code=422)
        page = self.post("end_drying", run.pk, **{name + "exhaust_c": "64"})
        self.assertContains(page, "Clean the lint filter", status_code=422)
        self.assertRedirects(
            self.post("void_drying", run.pk, **{f"void-drying-{run.pk}-reason": "belt torn"}),
            f"/laundry/loads/{load.pk}/",
        )
        self.assertContains(self.page(load), "belt torn")
        page = self.post("end_drying", run.pk, **{name + "lint_filter_cleaned": "on"})
        self.assertContains(page, "Nothing was written", status_code=422)


class TickTests(OneLoad):
    def setUp(self):
        super().setUp()
        self.load = dried(self, ready(self))
        self.specimen = self.load.pieces.first().specimen

    def tick(self, ordinal: object = 1, **headers):
        data = {"ordinal": ordinal, "key": uuid.uuid4()}
        return self.client.post(f"/laundry/specimens/{self.specimen.pk}/tick/", data, headers=headers)

    def test_without_script_the_page_comes_back(self):
        self.assertRedirects(self.tick(), f"/laundry/loads/{self.load.pk}/")
        self.assertContains(self.page(self.load), "Tick off all that are dry")

    def test_with_script_the_row_comes_back(self):
        row = self.tick(**{"HX-Request": "true"})
        self.assertContains(row, f'id="piece-{self.specimen.pk}"')
        self.assertContains(row, "cycle 1 ticked off")
        self.assertContains(row, "readings are due")
        self.assertNotContains(row, "<html")
        self.assertEqual(self.tick(**{"HX-Request": "true"}).status_code, 200)
        self.assertEqual(CycleLog.objects.count(), 1)

    def test_another_cycle_than_the_next_is_refused(self):
        for ordinal in ("2", "0", "x", "", "9" * 30, "-1", "1\x00"):
            answer = self.tick(ordinal, **{"HX-Request": "true"})
            self.assertContains(answer, "Cycle 1 of 3 is next.", status_code=422)
        self.assertFalse(CycleLog.objects.exists())

    def test_a_stale_list_of_a_load_is_told(self):
        tick_all(self, self.load)
        for piece in ([], ["x:y"], ["1"], [f"{self.specimen.pk}:2"], ["9" * 30 + ":1"]):
            page = self.client.post(f"/laundry/loads/{self.load.pk}/tick/", {"piece": piece})
            self.assertContains(page, "Nothing was written", status_code=422)

    def test_ticks_typed_later_carry_their_moment(self):
        shown = [f"{piece.specimen_id}:1" for piece in self.load.pieces.all()]
        page = self.client.post(
            f"/laundry/loads/{self.load.pk}/tick/", {"piece": shown, "tick-when": "2026-03-02T11:00"}
        )
        self.assertContains(page, "timed before", status_code=422)
        self.client.post(f"/laundry/loads/{self.load.pk}/tick/", {"piece": shown, "tick-when": "2026-03-02T12:00"})
        self.assertEqual(set(CycleLog.objects.values_list("done_at", flat=True)), {NOON})


class OutAndVoidTests(OneLoad):
    def test_a_piece_leaves_and_the_load_is_taken_apart(self):
        request = ready(self)
        load, (first, *_) = make_up(self, request), pieces_of(request)
        page = self.post("take_out", load.pk, **{"specimen": first.pk, "out-reason": ""})
        self.assertContains(page, "Reason is missing", status_code=422)
        self.post("take_out", load.pk, **{"specimen": first.pk, "out-reason": "torn"})
        self.assertContains(self.page(load), "taken out dry")
        for specimen in ("", "x", "987654321", "9" * 30):
            answer = self.post("take_out", load.pk, **{"specimen": specimen, "out-reason": "torn"})
            self.assertEqual(answer.status_code, 404)
        page = self.post("void", load.pk, **{"void-reason": "x" * 10_000})
        self.assertContains(page, "250 characters at most", status_code=422)
        self.post("void", load.pk, **{"void-reason": "wrong drum"})
        self.assertContains(self.page(load), "taken apart: wrong drum")
        self.assertEqual({piece.stage for piece in pieces_of(request)}, {Specimen.Stage.READY})

    def test_an_interrupted_wash_stays_visible(self):
        load = start(self, make_up(self, ready(self)))
        self.post("void", load.pk, **{"void-reason": "power cut"})
        page = self.page(load)
        self.assertContains(page, "wetted, no cycle</span>", count=3)
        self.assertContains(page, "power cut")


class CorrectTests(OneLoad):
    def setUp(self):
        super().setUp()
        self.load = washed(self, ready(self))
        self.typed = {
            **WASH,
            "washer": self.washers[1].pk,
            "wash_started_at": "2026-03-02T12:00",
            "wash_ended_at": "2026-03-02T12:00",
            "reason": "wrong washer noted",
            "shown_revision": "0",
            "spun": "on",
        }

    def correct(self, **how):
        return self.post("correct", self.load.pk, **{**self.typed, **how})

    def test_the_page_starts_from_the_record_that_holds(self):
        page = self.client.get(f"/laundry/loads/{self.load.pk}/correct/")
        self.assertContains(page, 'value="240"')
        self.assertContains(page, 'value="2026-03-02T12:00"', count=2)
        self.assertRedirects(self.correct(water_temp_c="42"), f"/laundry/loads/{self.load.pk}/")
        page = self.page(self.load)
        for text in ("wrong washer noted", "42 °C", "As first written", "41 °C", "W1", "W2"):
            self.assertContains(page, text)

    def test_a_stale_page_keeps_what_was_typed(self):
        self.correct()
        page = self.correct(reason="typed meanwhile")
        self.assertContains(page, "Somebody corrected this load meanwhile", status_code=422)
        self.assertContains(page, "typed meanwhile", status_code=422)

    def test_bad_input_is_told_beside_its_field(self):
        fields = ["specimen_mass_g", "ballast_mass_g", "ballast_pieces", "detergent_g", "water_temp_c"]
        fields += ["wash_started_at", "wash_ended_at", "shown_revision"]
        for field in fields:
            for text in NONSENSE:
                with self.subTest(field=field, text=text[:9]):
                    page = self.correct(**{field: text})
                    self.assertIn(field, page.context["form"].errors)
        for text in ("", "x" * 10_000, "a\x00"):
            self.assertIn("reason", self.correct(reason=text).context["form"].errors)
        self.assertFalse(LoadCorrection.objects.exists())

    def test_an_open_load_has_no_record_to_correct(self):
        load = make_up(self, ready(self))
        self.assertRedirects(self.client.get(f"/laundry/loads/{load.pk}/correct/"), f"/laundry/loads/{load.pk}/")


class QueryCountTests(OneLoad):
    def count(self, *requests) -> list[int]:
        """How many queries the page of a load takes at each of its steps."""
        counts = []

        def look(load: Load) -> Load:
            with CaptureQueriesContext(
                connection,
            ) as seen:
                self.assertEqual(self.page(load).status_code, 200)
            counts.append(len(seen))
            return load

        load = look(make_up(self, *requests))
        look(start(self, load))
        self.post("end", load.pk, spun="on")
        look(load)
        run = dry(self, load)
        look(load)
        self.post("end_drying", run.pk, **{f"dried-{run.pk}-lint_filter_cleaned": "on"})
        look(load)
        tick_all(self, load)
        look(load)
        return counts

    def test_the_number_of_queries_does_not_grow_with_the_pieces(self):
        few = self.count(ready(self, count=2))
        many = self.count(*[ready(self, count=2) for _ in range(11)])
        self.assertEqual(few, many)
        self.assertLessEqual(max(few), 17)
