"""Conditioning: on the rack, by the log or the clock or equal mass; reading early; the lab's rule; what is printed."""

import itertools
from datetime import timedelta
from uuid import uuid4

from django.db import IntegrityError, transaction
from django.urls import reverse

from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.models import Deviation
from apps.intake.queries import label_code
from apps.measuring.models import ConditioningRule, RackStay, Weighing
from apps.measuring.queries import rests
from apps.measuring.services import Entry, enter_readings, put_on_rack, set_rule, weigh
from apps.reporting.facts import Facts, freeze
from tests.cast import NOON, LabTestCase, a_marked_request, with_originals
from tests.equipment.support import a_room, logged
from tests.measuring.support import HOUR, issue, pair

ONE = {"count": 1, "fewer_reason": "short"}


class RackCase(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self, **ONE)
        self.specimen = self.request.specimens.get()
        self.specimen.request = self.request

    def put(self, room=None, *, at=NOON, **how) -> RackStay:
        (stay,) = put_on_rack(
            specimen_ids=[self.specimen.pk], room_id=room.pk if room else None, by=self.bea, at=at, **how
        )
        return stay

    def log(self, room, *readings: tuple[float, str]):
        """The air of a room so many hours after noon: its humidity."""
        for hours, humidity in readings:
            at = NOON + timedelta(hours=hours)
            with clock.set_to(at):
                logged(self, room, humidity=humidity, at=at)

    def rest(self, hours: float):
        at = NOON + timedelta(hours=hours)
        return rests({self.specimen: (0, at)})[self.specimen.pk]

    def read(self, hours: float, **how):
        at = NOON + timedelta(hours=hours)
        entries = [Entry(pair(self.request, "A1 length 1").pk, "250")]
        with clock.set_to(at):
            return enter_readings(
                request_id=self.request.pk, stage=0, entries=entries, unit="mm", by=self.bea, at=at, **how
            )


class StandingTests(RackCase):
    def test_unknown_fibre_takes_the_longest(self):
        self.assertEqual(
            self.rest(0).words, "not on the rack yet; 8 h in the room's air (fibre not known: the longest time)"
        )

    def test_without_a_log_the_hours_run(self):
        self.put()
        self.assertEqual(self.rest(1).words, "conditioning since 02 Mar 12:00, may be measured from 02 Mar 20:00")
        rest = self.rest(8)
        self.assertEqual((rest.ready, rest.basis), (True, "clock"))

    def test_the_log_shows_it(self):
        room = a_room(self)
        quarters = itertools.takewhile(lambda hours: hours <= 9, itertools.count(0, 0.25))
        self.log(room, *((hours, "65") for hours in quarters))
        self.put(room)
        self.assertFalse(self.rest(7).ready)
        self.assertIn("may be measured from 02 Mar 20:00", self.rest(7).words)
        self.assertEqual((self.rest(8.5).ready, self.rest(8.5).basis), (True, "log"))
        self.assertTrue(self.rest(9.1).ready, "the last reading is not long ago")
        self.assertFalse(self.rest(20).ready, "nobody has looked at the air since")
        self.assertIn("the log of the air ends 02 Mar 21:00: bring it up to date", self.rest(20).words)

    def test_air_that_is_out_of_its_limits_now_is_told(self):
        room = a_room(self)
        self.log(room, *((n / 4, "75" if n >= 8 else "65") for n in range(13)))
        self.put(room)
        self.assertIn("the air is out of its limits, and its hours do not run", self.rest(3).words)

    def test_an_excursion_extends_restarts_or_is_told(self):
        room = a_room(self)
        self.log(room, *((n / 4, "75" if n == 8 else "65") for n in range(40)))
        self.put(room)
        for rule, expected in (("extend", "20:30"), ("restart", "22:15"), ("disclose", "20:00")):
            ConditioningRule.objects.create(excursions=rule, gaps="disclose", early="disclose", by=self.mara, at=NOON)
            with self.subTest(rule):
                self.assertIn(expected, self.rest(7.5).words)
        self.assertEqual(len(self.rest(8.25).excursions), 1)

    def test_a_pause_of_the_log_can_extend_too(self):
        room = a_room(self)
        self.log(room, (0, "65"), (0.25, "65"), (3.25, "65"), *((3.25 + n / 4, "65") for n in range(1, 30)))
        self.put(room)
        ConditioningRule.objects.create(excursions="extend", gaps="extend", early="disclose", by=self.mara, at=NOON)
        self.assertIn("02 Mar 23:00", self.rest(7.5).words)
        self.assertEqual(len(self.rest(7.5).gaps), 1)

    def test_equal_mass_stands_in_for_the_hours(self):
        self.put()
        for hours, mass in ((1, "100.00"), (3.1, "100.10")):
            at = NOON + timedelta(hours=hours)
            with clock.set_to(at):
                weigh(specimen_id=self.specimen.pk, mass=mass, by=self.bea, at=at)
        rest = self.rest(3.2)
        self.assertEqual((rest.ready, rest.basis), (True, "mass"))
        self.assertFalse(self.rest(3).ready)

    def test_put_there_again_it_begins_anew(self):
        self.put()
        with clock.set_to(NOON + HOUR):
            self.put(at=NOON + HOUR)
        self.assertIn("since 02 Mar 13:00", self.rest(2).words)


class EarlyTests(RackCase):
    def test_refused_without_a_reason_and_disclosed_with_one(self):
        self.put()
        with self.assertRaises(Refusal) as refused:
            self.read(1)
        self.assertEqual((refused.exception.code, refused.exception.field), ("early", "early_reason"))
        self.assertIn("may be measured from 02 Mar 20:00", str(refused.exception))
        self.read(1, early_reason="the customer waits")
        deviation = Deviation.objects.get(kind="conditioning")
        self.assertIn("A1 read before washing before it was conditioned", deviation.text)
        self.assertIn("the customer waits", deviation.text)
        self.assertEqual(deviation.specimen, self.specimen)

    def test_one_deviation_a_specimen_and_stage(self):
        self.put()
        self.read(1, early_reason="in haste")
        with clock.set_to(NOON + HOUR):
            entries = [Entry(pair(self.request, "A1 length 2").pk, "250")]
            enter_readings(
                request_id=self.request.pk,
                stage=0,
                entries=entries,
                unit="mm",
                by=self.bea,
                at=NOON + HOUR,
                early_reason="in haste",
            )
        self.assertEqual(Deviation.objects.filter(kind="conditioning").count(), 1)

    def test_a_lab_that_says_never_means_it(self):
        self.put()
        set_rule(excursions="extend", gaps="disclose", early="refuse", by=self.mara, at=NOON)
        with self.assertRaises(Refusal):
            self.read(1, early_reason="please")
        self.read(8)

    def test_with_a_rule_everything_is_looked_at(self):
        set_rule(excursions="extend", gaps="disclose", early="disclose", by=self.mara, at=NOON)
        with self.assertRaises(Refusal) as refused:
            self.read(1)
        self.assertIn("not on the rack yet", str(refused.exception))

    def test_without_a_rule_and_a_rack_nothing_is_asked(self):
        self.read(0)
        self.assertFalse(Deviation.objects.filter(kind="conditioning").exists())


class WriteTests(RackCase):
    def test_refuses_what_cannot_be(self):
        room = a_room(self)
        washer = self.washers[0]
        for how, code in (
            ({"specimen_ids": []}, "no_specimen"),
            ({"room_id": washer.pk}, "no_room"),
            ({"room_id": 10**9}, "no_room"),
            ({"at": NOON + 9 * HOUR}, "future"),
            ({"at": NOON - 9 * HOUR}, "before_previous_step"),
            ({"hand_ironed": "x" * 121}, "too_long"),
            ({"hand_ironed": "\0"}, "too_long"),
        ):
            given = {"specimen_ids": [self.specimen.pk], "room_id": room.pk, "by": self.bea, "at": NOON, **how}
            with self.subTest(code), self.assertRaises(Refusal) as refused:
                put_on_rack(**given)
            self.assertEqual(refused.exception.code, code)
        for mass in ("", "0", "-1", "NaN", "1e3", "9" * 10, "1.2345", "🧵", "\0"):
            self.put() if not RackStay.objects.exists() else None
            with self.subTest(mass), self.assertRaises(Refusal):
                weigh(specimen_id=self.specimen.pk, mass=mass, by=self.bea, at=NOON)
        with self.assertRaises(Refusal):
            set_rule(excursions="wish", gaps="disclose", early="refuse", by=self.mara, at=NOON)
        with self.assertRaises(Refusal):
            set_rule(excursions="extend", gaps="disclose", early="refuse", by=self.bea, at=NOON)

    def test_not_due_and_not_on_the_rack(self):
        with self.assertRaises(Refusal) as refused:
            weigh(specimen_id=self.specimen.pk, mass="100", by=self.bea, at=NOON)
        self.assertEqual(refused.exception.code, "not_on_rack")
        with_originals(self, self.request)
        with self.assertRaises(Refusal) as refused:
            self.put()
        self.assertEqual(refused.exception.code, "not_due")

    def test_the_same_form_twice_is_one_stay(self):
        key = uuid4()
        self.assertEqual(self.put(key=key), self.put(key=key))
        self.assertEqual(RackStay.objects.count(), 1)

    def test_the_database_agrees(self):
        stay = self.put()
        row = weigh(specimen_id=self.specimen.pk, mass="100", by=self.bea, at=NOON)
        rule = set_rule(excursions="extend", gaps="disclose", early="refuse", by=self.mara, at=NOON)
        for rows, change in (
            (RackStay.objects.filter(pk=stay.pk), {"since": NOON - HOUR}),
            (RackStay.objects.filter(pk=stay.pk), {"from_dry_side": True}),
            (Weighing.objects.filter(pk=row.pk), {"mass_g": 1}),
            (ConditioningRule.objects.filter(pk=rule.pk), {"early": "disclose"}),
        ):
            with self.subTest(str(change)), self.assertRaises(IntegrityError), transaction.atomic():
                rows.update(**change)
            with self.assertRaises(IntegrityError), transaction.atomic():
                rows.delete()
        issue(self.request, by=self.mara)
        facts = {"specimen": self.specimen, "stage": 0, "by": self.bea, "recorded_at": NOON}
        with self.assertRaises(IntegrityError), transaction.atomic():
            RackStay.objects.create(**facts, since=NOON)
        with self.assertRaises(IntegrityError), transaction.atomic():
            Weighing.objects.create(**facts, at=NOON, mass_g=1)


class PageTests(RackCase):
    def setUp(self):
        super().setUp()
        self.room = a_room(self)
        self.sign_in(self.bea)

    def post(self, **data):
        return self.client.post(reverse("measuring:put_on_rack"), {"room": self.room.pk, "key": str(uuid4()), **data})

    def test_scanned_or_ticked(self):
        for data in (
            {"codes": label_code(self.specimen.code)},
            {"codes": self.specimen.code.lower()},
            {"codes": "A1"},
            {"specimen": self.specimen.pk},
        ):
            with self.subTest(str(data)):
                self.assertEqual(self.post(**data).status_code, 302)
        self.assertEqual(RackStay.objects.count(), 4)
        page = self.client.get(reverse("measuring:rack"))
        self.assertContains(page, "conditioning since 02 Mar 12:00, may be measured from 02 Mar 20:00")
        self.assertContains(self.client.get(reverse("measuring:bench")), "conditioning since 02 Mar 12:00")
        sheet = self.client.get(reverse("measuring:readings", args=[self.request.sample.code]))
        self.assertContains(sheet, "Conditioning since 02 Mar 12:00")

    def test_the_next_scan_goes_the_way_of_the_last(self):
        other = a_room(self, "Room 2")
        answer = self.client.post(reverse("measuring:put_on_rack"), {"codes": "A1", "room": other.pk}, follow=True)
        self.assertContains(answer, f'value="{other.pk}" selected')
        self.assertFalse(answer.context["form"]["from_dry_side"].value())
        self.assertEqual(self.client.get(reverse("measuring:rack"), {"room": "x", "dry": "\0"}).status_code, 200)

    def test_two_specimens_of_one_short_code(self):
        a_marked_request(self, **ONE)
        self.assertContains(self.post(codes="A1"), "several specimens", status_code=422)

    def test_bad_input_keeps_what_was_typed(self):
        for data in (
            {},
            {"codes": "B9"},
            {"codes": "\0"},
            {"codes": "x" * 10_000},
            {"codes": "🧵"},
            {"specimen": ["x", "9" * 30, "-1"]},
            {"codes": "A1", "room": "x"},
            {"codes": "A1", "room": self.washers[0].pk},
            {"codes": "A1", "at": "noon"},
            {"codes": "A1", "hand_ironed": "x" * 500},
        ):
            with self.subTest(str(data)[:40]):
                answer = self.post(**data)
                self.assertEqual(answer.status_code, 422)
                self.assertContains(answer, 'class="error"', status_code=422)
        self.assertContains(self.post(codes="B9"), 'value="B9"', status_code=422)
        self.assertFalse(RackStay.objects.exists())

    def test_weighing(self):
        address = reverse("measuring:weigh")
        self.assertEqual(self.client.post(address, {"weigh-code": "B9", "weigh-mass": "1"}).status_code, 422)
        self.assertContains(
            self.client.post(address, {"weigh-code": "A1", "weigh-mass": "100"}), "does not lie on", status_code=422
        )
        self.post(codes="A1")
        self.assertEqual(self.client.post(address, {"weigh-code": "A1", "weigh-mass": "100,5"}).status_code, 302)

    def test_the_rule_is_the_managers(self):
        address = reverse("measuring:rack_rule")
        self.assertEqual(self.client.get(address).status_code, 403)
        self.sign_in(self.mara)
        self.assertContains(self.client.get(address), "begin anew after it")
        self.assertEqual(self.client.post(address, {"excursions": "x"}).status_code, 422)
        rule = {"excursions": "restart", "gaps": "extend", "early": "refuse"}
        self.assertEqual(self.client.post(address, rule).status_code, 302)
        self.assertContains(self.client.get(reverse("measuring:rack")), "begin anew after it")

    def test_early_on_the_sheet_asks_for_its_reason(self):
        self.post(codes="A1")
        cell = f"pair_{pair(self.request, 'A1 length 1').pk}"
        address = reverse("measuring:enter", args=[self.request.sample.code])
        sheet = {"request": "1", "stage": "0", "unit": "mm", cell: "250"}
        answer = self.client.post(address, sheet)
        self.assertContains(answer, "Not conditioned yet", status_code=422)
        self.assertContains(answer, 'value="250"', status_code=422)
        self.assertEqual(self.client.post(address, {**sheet, "early_reason": "in haste"}).status_code, 302)

    def test_the_number_of_queries_does_not_grow(self):
        made = 1
        for wanted in (2, 22):
            while made < wanted:
                request = a_marked_request(self, **ONE)
                put_on_rack(specimen_ids=[request.specimens.get().pk], room_id=self.room.pk, by=self.bea, at=NOON)
                made += 1
            self.client.get(reverse("measuring:rack"))
            with self.subTest(wanted), self.assertNumQueries(13):
                self.client.get(reverse("measuring:rack"))


class PaperTests(RackCase):
    def test_facts_say_how_they_rested(self):
        self.put(from_dry_side=True, hand_ironed="cool iron, no steam")
        with clock.set_to(NOON + 9 * HOUR):
            with_originals(self, self.request, at=NOON + 9 * HOUR)
        (request,) = Facts(freeze([self.request])).requests
        told = request.conditioning_told
        self.assertIn("Before washing: A1 in a room without a log of the air from 2 Mar 2026, ", told)
        self.assertIn("by the hours alone, no log of the air is kept", told)
        self.assertIn("hand ironed: cool iron, no steam", told)

    def test_early_is_printed_and_an_old_report_stays_readable(self):
        self.put()
        self.read(1, early_reason="in haste")
        facts = freeze([self.request])
        self.assertIn("read before the conditioning was over", Facts(facts).requests[0].conditioning_told)
        del facts["requests"][0]["conditioning"]
        self.assertIn("not part of these records", Facts(facts).requests[0].conditioning_told)
