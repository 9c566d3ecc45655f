"""The wash begins as the procedure asks, or a deviation says why not; it ends, or it is broken off."""

import uuid
from datetime import date
from decimal import Decimal

from django.db import IntegrityError, transaction

from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment.services import put_out_of_service
from apps.intake.models import Specimen
from apps.laundering import services
from apps.laundering.models import Load, LoadPiece
from apps.laundering.services import rules
from tests.cast import NOON, LabTestCase, a_calibration
from tests.laundering.support import (
    HOUR,
    MINUTE,
    deviations,
    dried,
    dry,
    end,
    make_up,
    pieces_of,
    ready,
    start,
    tick_all,
    told,
    washed,
)


class StartTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.request = ready(cls)
        cls.load = make_up(cls, cls.request)

    def refused(self, code: str, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            start(self, self.load, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        self.load.refresh_from_db()
        self.assertEqual(self.load.state, Load.State.MADE_UP)
        return caught.exception

    def test_what_was_weighed_and_measured_is_kept(self):
        load = start(self, self.load, water_temp_c="40,5")
        load.refresh_from_db()
        self.assertEqual((str(load.water_temp_c), str(load.total_mass_g)), ("40.5", "1800.0"))
        self.assertEqual((load.state, load.washer, load.wash_by), ("washing", self.washers[0], self.lou))
        (facts,) = told(self.request, "load.wash_started")
        self.assertEqual((facts["washer"], facts["water_temp_c"], facts["detergent_g"]), ("W1", "40.5", "66.0"))
        self.assertEqual(deviations(self.request), [])

    def test_water_that_is_not_as_asked_is_refused_before_the_cloth_is_in(self):
        cold = self.refused("water_temperature", water_temp_c="37.9")
        self.assertEqual(cold.field, "water_temp_c")
        self.assertIn("Warm it", str(cold))
        self.assertIn("Cool it", str(self.refused("water_temperature", water_temp_c="44.1")))
        self.assertEqual(pieces_of(self.request)[0].times_wetted, 0)
        for fits in ("38", "44.0"):
            with self.subTest(fits), transaction.atomic():
                start(self, self.load, water_temp_c=fits)
                transaction.set_rollback(True)

    def test_the_total_keeps_to_the_tolerance(self):
        light = self.refused("load_mass", ballast_mass_g="1459.9")
        self.assertIn("12 pieces of ballast", str(light))
        self.refused("load_mass", ballast_mass_g="1660.1")
        heavy = self.refused("load_mass", specimen_mass_g="1901")
        self.assertIn("split", str(heavy))
        start(self, self.load, ballast_mass_g="1460")

    def test_specimens_are_half_of_the_load_at_most_where_the_procedure_says_so(self):
        iso = ready(self, method="iso-5077-2007-6330-2012", originals="350", cycles=1, measured_after=(1,))
        load = make_up(self, iso)
        how = {"detergent_g": "20", "water_temp_c": "40", "specimen_mass_g": "1001", "ballast_mass_g": "999"}
        how |= {"ballast": "III", "programme": "4N"}
        with self.assertRaises(Refusal) as caught:
            start(self, load, **how)
        self.assertEqual(caught.exception.code, "over_half")
        start(self, load, **{**how, "specimen_mass_g": "1000", "ballast_mass_g": "1000"})

    def test_detergent_keeps_to_the_dose_that_is_known(self):
        self.refused("detergent", detergent_g="64.9")
        unknown = self.load.procedure
        unknown.detergent_g = None
        self.assertEqual(rules.detergent_problems(unknown, Decimal(20)), [])

    def test_all_that_is_wrong_is_told_at_once(self):
        refusal = self.refused("load_mass", ballast_mass_g="100", water_temp_c="20", detergent_g="1")
        self.assertEqual([p.field for p in refusal.problems], ["ballast_mass_g", "detergent_g", "water_temp_c"])

    def test_a_manager_writes_a_deviation_instead(self):
        start(self, self.load, water_temp_c="36", deviation="heater is weak", by=self.mara)
        row = self.request.deviations.get()
        self.assertEqual((row.kind, row.load_number, row.at_risk, row.by), ("wash", self.load.pk, False, self.mara))
        self.assertIn("36 °C", row.text)
        self.assertIn("heater is weak", row.text)

    def test_an_operator_alone_at_night_goes_on_at_risk(self):
        self.refused("not_at_risk", water_temp_c="36", deviation="heater is weak")
        start(self, self.load, water_temp_c="36", deviation="heater is weak", at_risk=True)
        self.assertTrue(self.request.deviations.get().at_risk)

    def test_every_job_in_the_drum_hears_of_the_deviation(self):
        other = ready(self)
        load = make_up(self, other, ready(self))
        start(self, load, water_temp_c="36", deviation="heater is weak", at_risk=True)
        self.assertEqual(len(deviations(other)), 1)

    def test_the_machine_is_a_washer_that_stands_free_and_may_be_used(self):
        self.refused("no_washer", washer_id=None)
        self.refused("no_washer", washer_id=self.dryers[0].pk)
        self.refused("no_washer", washer_id=987654321)
        put_out_of_service(equipment_id=self.washers[1].pk, reason="leaks", by=self.lou, at=NOON)
        self.refused("out_of_service", washer_id=self.washers[1].pk)
        start(self, make_up(self, ready(self)))
        self.refused("washer_busy")

    def test_a_washer_that_is_overdue_is_disclosed(self):
        a_calibration(self, self.washers[0], due_on=date(2026, 3, 1))
        self.refused("overdue")
        start(self, self.load, deviation="verification is ordered", at_risk=True)
        self.assertIn("W1", deviations(self.request)[0])

    def test_what_is_no_figure_is_refused_beside_its_field(self):
        names = ["specimen_mass_g", "ballast_mass_g", "ballast_pieces", "detergent_g", "water_temp_c"]
        nonsense = ["", " ", "abc", "-1", "+1", "1e3", "1e999", "NaN", "inf", "1_000", "1,800", "40.55", "4 0", "👕"]
        nonsense += ["٤٠", "0x10", "4\x000", "9" * 10_000, "99999999", None, "1/2", "40 °C", "--", ".5", "40.", "½"]
        for name in names:
            for text in nonsense:
                with self.subTest(name=name, text=repr(text)[:20]):
                    self.assertEqual(self.refused_anyhow(**{name: text}).field, name)

    def refused_anyhow(self, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            start(self, self.load, **how)
        return caught.exception

    def test_words_fit_the_book(self):
        for field, most in (("ballast", 120), ("detergent", 120), ("detergent_lot", 60), ("deviation", 250)):
            for text in ("x" * (most + 1), "a\x00b", "x" * 10_000):
                with self.subTest(field=field, text=text[:5]):
                    self.assertEqual(self.refused_anyhow(**{field: text}).field, field)
        self.refused("missing", ballast="")
        self.refused("missing", detergent=" ")
        self.refused("ballast", ballast_pieces="0")
        for source in ("", "guess", None):
            self.refused("temp_source", temp_source=source)
        start(self, self.load, detergent_lot="👕 Größe 1")

    def test_a_moment_out_of_order_is_refused(self):
        self.refused("before_previous_step", at=NOON - MINUTE)
        self.refused("future", at=NOON + HOUR)

    def test_what_is_entered_late_is_disclosed(self):
        with clock.set_to(NOON + 5 * HOUR):
            start(self, self.load)
        self.assertEqual(self.request.deviations.get().kind, "late_entry")

    def test_a_double_post_begins_once(self):
        key = uuid.uuid4()
        start(self, self.load, key=key)
        self.assertEqual(start(self, self.load, key=key), self.load)
        self.assertEqual(len(told(self.request, "load.wash_started")), 1)
        with self.assertRaises(Refusal):
            start(self, self.load, key=uuid.uuid4())

    def test_the_database_agrees(self):
        start(self, self.load)
        other = make_up(self, ready(self))
        broken = [
            lambda: Load.objects.filter(pk=other.pk).update(state="washing"),
            lambda: Load.objects.filter(pk=self.load.pk).update(state="washed"),
            lambda: Load.objects.filter(pk=self.load.pk).update(void_reason="x"),
            lambda: Load.objects.filter(pk=self.load.pk).update(state="void"),
            lambda: LoadPiece.objects.create(load=other, specimen=pieces_of(self.request)[0], ordinal=1),
            lambda: LoadPiece.objects.filter(load=self.load).update(ordinal=2),
            lambda: LoadPiece.objects.filter(load=self.load).update(open=False),
            lambda: LoadPiece.objects.filter(load=self.load).update(open=False, outcome="void"),
        ]
        for number, act in enumerate(broken):
            with self.subTest(number), self.assertRaises(IntegrityError), transaction.atomic():
                act()


class EndTests(LabTestCase):
    def test_the_pieces_wait_for_their_drying(self):
        request = ready(self)
        load = end(self, start(self, make_up(self, request)), rinse_temp_c="22,5")
        load.refresh_from_db()
        self.assertEqual(
            (load.state, load.wash_ended_at, str(load.rinse_temp_c), load.spun), ("washed", NOON, "22.5", True)
        )
        self.assertEqual(told(request, "load.washed")[0]["load"], load.pk)

    def test_a_last_spin_that_is_not_as_the_drying_asks_is_disclosed(self):
        spun, drip = ready(self), ready(self, dry="aatcc-c")
        load = end(self, start(self, make_up(self, spun)), spun=False)
        self.assertFalse(load.spun)
        self.assertIn("left out", deviations(spun)[0])
        load = end(self, start(self, make_up(self, drip)))
        self.assertFalse(load.spun)
        self.assertEqual(deviations(drip), [])

    def test_only_a_running_wash_ends_and_not_before_it_began(self):
        load = make_up(self, ready(self))
        with self.assertRaises(Refusal) as caught:
            end(self, load)
        self.assertEqual(caught.exception.code, "load_made_up")
        start(self, load)
        for moment, code in ((NOON - MINUTE, "before_previous_step"), (NOON + HOUR, "future")):
            with self.assertRaises(Refusal) as caught:
                end(self, load, at=moment)
            self.assertEqual(caught.exception.code, code)
        for rinse in ("warm", "-2", "101", "1e9"):
            with self.assertRaises(Refusal) as caught:
                end(self, load, rinse_temp_c=rinse)
            self.assertEqual(caught.exception.field, "rinse_temp_c")

    def test_a_washer_is_free_again(self):
        washed(self, ready(self))
        washed(self, ready(self))


class VoidTests(LabTestCase):
    def void(self, load: Load, **how) -> Load:
        return services.void_load(**{"load_id": load.pk, "reason": "power cut", "by": self.lou, "at": NOON, **how})

    def test_an_interrupted_run_wetted_the_cloth_and_counts_no_cycle(self):
        request = ready(self)
        load = self.void(start(self, make_up(self, request)))
        self.assertEqual((load.state, load.void_reason, load.wash_ended_at), ("void", "power cut", NOON))
        for piece in pieces_of(request):
            self.assertEqual((piece.stage, piece.cycles_valid, piece.times_wetted), ("ready", 0, 1))
        row = request.deviations.get()
        self.assertEqual((row.kind, row.load_number), ("void_cycle", load.pk))
        self.assertIn("A1, A2, A3 wetted", row.text)
        again = make_up(self, request)
        self.assertEqual(set(again.pieces.values_list("ordinal", flat=True)), {1})

    def test_a_dry_load_is_taken_apart(self):
        request = ready(self)
        load = self.void(make_up(self, request), reason="wrong drum")
        self.assertEqual(load.void_reason, "taken apart: wrong drum")
        self.assertEqual({(p.stage, p.times_wetted) for p in pieces_of(request)}, {(Specimen.Stage.READY, 0)})
        self.assertEqual(deviations(request), [])
        self.assertFalse(told(request, "load.void")[0]["wetted"])

    def test_a_washed_load_stands_once_a_cycle_is_ticked_off(self):
        request = ready(self)
        load = dried(self, request)
        tick_all(self, load)
        with self.assertRaises(Refusal) as caught:
            self.void(load)
        self.assertEqual(caught.exception.code, "cycle_ticked")

    def test_a_washed_load_may_be_found_void_before_that(self):
        request = ready(self)
        self.assertEqual(self.void(washed(self, request)).state, Load.State.VOID)
        self.assertEqual({p.times_wetted for p in pieces_of(request)}, {1})

    def test_not_while_pieces_of_it_dry_and_not_twice_and_not_without_reason(self):
        load = washed(self, ready(self))
        dry(self, load)
        for wanted, how in (("drying_runs", {}), ("missing", {"reason": " "}), ("too_long", {"reason": "x" * 10_000})):
            with self.assertRaises(Refusal) as caught:
                self.void(load, **how)
            self.assertEqual(caught.exception.code, wanted)
        other = self.void(make_up(self, ready(self)))
        with self.assertRaises(Refusal) as caught:
            self.void(other)
        self.assertEqual(caught.exception.code, "load_void")

    def test_a_wetted_piece_leaves_alone(self):
        request = ready(self)
        load, (first, *rest) = washed(self, request), pieces_of(request)
        services.take_out(load_id=load.pk, specimen_id=first.pk, reason="torn", by=self.lou, at=NOON)
        first.refresh_from_db()
        self.assertEqual((first.stage, first.cycles_valid, first.times_wetted), ("ready", 0, 1))
        self.assertIn("A1 wetted", deviations(request)[0])
        self.assertEqual(load.pieces.filter(open=True).count(), len(rest))
