"""What is not as asked: each problem has its own reason, and instruments are relied upon while they hold."""

import uuid
from datetime import date, timedelta

from apps.accounts.models import Lab
from apps.core import clock
from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.equipment.services import put_out_of_service
from apps.intake.models import Deviation
from apps.laundering import services
from apps.laundering.models import Load
from tests.cast import NOON, LabTestCase, a_calibration
from tests.laundering.support import (
    HOUR,
    WASH,
    deviations,
    dry,
    end_dry,
    make_up,
    ready,
    start,
    washed,
)


class Refusing(LabTestCase):
    def refused(self, code: str, act, *args, **how) -> Refusal:
        with self.assertRaises(Refusal) as caught:
            act(self, *args, **how)
        self.assertEqual(caught.exception.code, code, str(caught.exception))
        return caught.exception


class ReasonTests(Refusing):
    def setUp(self):
        self.request = ready(self)

    def test_what_may_not_share_shares_with_a_reason_of_the_manager_or_at_risk(self):
        clashes = [{"construction": "knit"}, {"wash": "aatcc-1-iv"}, {"dry": "aatcc-c"}, {"bleeds": True}]
        for how in clashes:
            other = ready(self, **how)
            with self.subTest(str(how)):
                self.refused("not_at_risk", make_up, ready(self), other, deviation="one drum tonight")
                load = make_up(self, ready(self), other, deviation="one drum tonight", at_risk=True)
                row = other.deviations.get()
                self.assertEqual((row.at_risk, row.load_number, row.kind), (True, load.pk, Deviation.Kind.LOAD))

    def test_one_reason_does_not_cover_several_problems(self):
        load = make_up(self, self.request)
        wrong = {"water_temp_c": "36", "detergent_g": "60", "by": self.mara}
        refusal = self.refused("detergent", start, load, **wrong, deviation="all is well")
        self.assertEqual([one.code for one in refusal.problems], ["detergent", "water_temperature"])
        self.refused("detergent", start, load, **wrong, reasons={"detergent": "scoop broke"})
        start(self, load, **wrong, reasons={"detergent": "scoop broke", "water_temperature": "heater is weak"})
        one, two = deviations(self.request)
        self.assertTrue("60 g" in one and "scoop broke" in one and "heater" not in one)
        self.assertTrue("36 °C" in two and "heater is weak" in two and "scoop" not in two)

    def test_the_page_asks_for_each(self):
        load = make_up(self, self.request)
        self.sign_in(self.mara)
        data = {**WASH, "washer": self.washers[0].pk, "water_temp_c": "36", "detergent_g": "60", "deviation": "so"}
        url = f"/laundry/loads/{load.pk}/start/"
        page = self.client.post(url, {**data, "key": uuid.uuid4()})
        for name in ("why_detergent", "why_water_temperature"):
            self.assertContains(page, f'name="{name}"', status_code=422)
        why = {"why_detergent": "scoop broke", "why_water_temperature": "x" * 251}
        page = self.client.post(url, {**data, **why})
        self.assertContains(page, "scoop broke", status_code=422)
        why["why_water_temperature"] = "heater is weak"
        self.assertEqual(self.client.post(url, {**data, **why}).status_code, 302)
        self.assertEqual(len(deviations(self.request)), 3)  # what was written beside them is told too

    def test_ballast_and_programme_are_held_against_the_catalogue(self):
        load = make_up(self, self.request)
        self.refused("ballast_type", start, load, ballast="type 2")
        self.refused("programme", start, load, programme="Delicate")
        start(self, load, ballast="Type 1", programme="normal")

    def test_damp_pieces_take_a_reason_and_longer_drying_a_remark(self):
        drying = dry(self, washed(self, self.request))
        self.refused("damp", end_dry, drying, dryness="damp")
        self.refused("longer", end_dry, drying, longer_minutes="20")
        for text in ("-1", "1e3", "NaN", "x"):
            self.refused("not_a_number", end_dry, drying, longer_minutes=text, remark="heavy")
        row = end_dry(self, drying, longer_minutes="20", remark="heavy denim", dryness="dry", cooled_down=True)
        self.assertEqual((row.longer_minutes, row.dryness), (20, "dry"))
        self.assertEqual(deviations(self.request), [])


class LateTests(Refusing):
    def test_every_act_says_why_it_comes_late(self):
        request, other = ready(self), ready(self)
        with clock.set_to(NOON + timedelta(hours=9)):
            load = make_up(self, request, late_reason="from paper 1")
            first = load.pieces.first().specimen_id
            who = {"by": self.lou, "at": NOON}
            services.take_out(load_id=load.pk, specimen_id=first, reason="torn", late_reason="from paper 2", **who)
            services.void_load(load_id=load.pk, reason="wrong", late_reason="from paper 3", **who)
            drying = dry(self, washed(self, other))
            services.void_drying(drying_id=drying.pk, reason="damp", late_reason="from paper 4", **who)
        told = " ".join([*deviations(request), *deviations(other)])
        for number in "1234":
            self.assertIn(f"Reason: from paper {number}", told)

    def test_the_pages_ask_for_it(self):
        load = make_up(self, ready(self))
        self.sign_in(self.lou)
        with clock.set_to(NOON + 9 * HOUR):
            data = {"void-reason": "wrong", "void-when": "2026-03-02T12:00"}
            url = f"/laundry/loads/{load.pk}/void/"
            self.assertContains(self.client.post(url, data), "Say why it is entered only now", status_code=422)
            self.assertEqual(self.client.post(url, {**data, "void-late_reason": "paper"}).status_code, 302)


class InstrumentTests(Refusing):
    def setUp(self):
        self.request = ready(self)
        self.load = make_up(self, self.request)

    def instrument(self, kind: str, **how) -> Equipment:
        return Equipment.objects.create(name=f"the {kind}", kind=kind, **how)

    def test_a_lab_with_thermometers_and_balances_says_which(self):
        thermometer, balance = self.instrument("thermometer"), self.instrument("balance")
        self.refused("no_thermometer", start, self.load)
        self.refused("no_balance", start, self.load, thermometer_id=thermometer.pk)
        self.refused("no_thermometer", start, self.load, thermometer_id=balance.pk)
        start(self, self.load, thermometer_id=thermometer.pk, balance_id=balance.pk)
        self.sign_in(self.lou)
        self.assertContains(self.client.get(f"/laundry/loads/{self.load.pk}/"), "the thermometer")

    def test_one_that_is_overdue_is_disclosed_or_refused(self):
        thermometer = self.instrument("thermometer")
        a_calibration(self, thermometer, due_on=date(2026, 3, 1))
        self.refused("overdue_thermometer", start, self.load, thermometer_id=thermometer.pk)
        Equipment.objects.filter(pk=thermometer.pk).update(overdue_rule="refuse")
        refusal = self.refused("overdue_refused", start, self.load, thermometer_id=thermometer.pk, by=self.mara)
        self.assertEqual(refusal.field, "thermometer")
        Equipment.objects.filter(pk=thermometer.pk).update(overdue_rule="disclose")
        start(self, self.load, thermometer_id=thermometer.pk, deviation="it is at the house", at_risk=True)
        self.assertIn("the thermometer", deviations(self.request)[0])

    def test_the_machines_dated_verification_stands_while_it_holds(self):
        refusal = self.refused("not_verified", start, self.load, temp_source="verified")
        self.assertEqual(refusal.field, "temp_source")
        old = a_calibration(self, self.washers[1], due_on=date(2026, 3, 1))
        self.refused(
            "verification_overdue", start, self.load, temp_source="verified", washer_id=self.washers[1].pk, by=self.mara
        )
        good = a_calibration(self, self.washers[0], due_on=date(2026, 9, 1), certificate="V-17")
        load = start(self, self.load, temp_source="verified")
        self.assertEqual((load.verification, old != good), (good, True))
        self.sign_in(self.lou)
        self.assertContains(self.client.get(f"/laundry/loads/{load.pk}/"), "V-17")
        self.assertContains(self.client.get("/laundry/logbook/"), "V-17")

    def test_the_hardness_of_the_lab_is_written_into_the_wash(self):
        Lab.objects.update(water_hardness="5.2 °dH, 2 Mar 2026")
        self.assertEqual(start(self, self.load).water_hardness, "5.2 °dH, 2 Mar 2026")
        self.sign_in(self.lou)
        self.assertContains(self.client.get("/laundry/logbook/"), "5.2 °dH")


class OfferedTests(LabTestCase):
    def test_what_cannot_be_used_says_why_and_cannot_be_picked(self):
        start(self, make_up(self, ready(self)))
        put_out_of_service(equipment_id=self.washers[1].pk, reason="leaks", by=self.lou, at=NOON)
        third = Equipment.objects.create(name="W3", kind="washer", overdue_rule="refuse", interval_months=12)
        load = make_up(self, ready(self))
        self.sign_in(self.lou)
        page = self.client.get(f"/laundry/loads/{load.pk}/").content.decode()
        for pk, words in (
            (self.washers[0].pk, "W1 (washing load"),
            (self.washers[1].pk, "W2 (out of service: leaks)"),
            (third.pk, "W3 (verification overdue, not to be used)"),
        ):
            with self.subTest(words):
                self.assertIn(words, page)
                self.assertIn(f'<option value="{pk}" disabled>', page)
        answer = self.client.post(f"/laundry/loads/{load.pk}/start/", {**WASH, "washer": self.washers[1].pk})
        self.assertContains(answer, "W2 is out of service: leaks", status_code=422)
        self.assertEqual(Load.objects.get(pk=load.pk).state, "made_up")

    def test_the_water_is_held_against_what_is_asked_before_the_cloth_is_in(self):
        load = make_up(self, ready(self))
        self.sign_in(self.lou)
        url = f"/laundry/loads/{load.pk}/water/"
        self.assertContains(self.client.get(url, {"water_temp_c": "41"}), "as asked")
        self.assertContains(self.client.get(url, {"water_temp_c": "30"}), "Warm it and measure again")
        for text in ("", "x" * 10_000, "1e999", "NaN", "-4", "👕", "\x00"):
            self.assertEqual(self.client.get(url, {"water_temp_c": text}).status_code, 200)
