"""The air is read by hand, held against a tolerance, made void when it was wrong, and asked for by other rooms."""

import uuid
from datetime import timedelta
from decimal import Decimal

from apps.calc.conditioning import ISO_139, AirReading, Atmosphere, earliest_measurement
from apps.core import clock
from apps.core.errors import KeyReused
from apps.equipment import queries, services
from apps.equipment.air import words
from apps.equipment.models import AtmosphereReading, Tolerance
from apps.equipment.services import Limits
from apps.methods.models import Confirmation, Figure, TestMethod
from tests.cast import NOON, a_calibration
from tests.equipment.support import (
    DAY,
    HOUR,
    MINUTE,
    EquipmentCase,
    a_file,
    a_logger,
    a_room,
    logged,
    quarters,
    taken_in,
)


def some_limits(**changes) -> Limits:
    figures = {
        "temperature_c": Decimal("23.0"),
        "temperature_tolerance_c": Decimal("2.0"),
        "humidity_pct": Decimal("50.0"),
        "humidity_tolerance_pct": Decimal("4.0"),
        "source": "ISO 139:2005, the alternative atmosphere",
    }
    return Limits(**{**figures, **changes})


class AirCase(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.room, cls.logger = a_room(cls), a_logger(cls, overdue_rule="disclose")


class LogTests(AirCase):
    def test_works_and_leaves_a_trail(self):
        reading = logged(self, self.room, " 20,35", "64", instrument_id=self.logger.pk)
        reading.refresh_from_db()
        self.assertEqual((reading.temperature_c, reading.humidity_pct), (Decimal("20.35"), Decimal(64)))
        self.assertEqual((reading.by, reading.instrument, reading.source), (self.bea, self.logger, "typed"))
        entry = self.entries(self.room)[0]
        self.assertEqual((entry.kind, entry.facts["temperature_c"]), ("atmosphere.logged", "20.35"))
        self.assertEqual(entry.facts["disclosed"], [])

    def test_bad_figures(self):
        nonsense = ["abc", "NaN", "1e999", "1e1", "20.12345", "+-2", "20 °C", "٢٠", "2_0", "9" * 30, "1.2.3", "-", "½"]
        for text in nonsense:
            for name in ("temperature", "humidity"):
                with self.subTest(text=text, name=name):
                    self.refused("not_a_figure", logged, self, self.room, field=name, **{name: text})
        for name, texts in {"temperature": ("60.1", "-41", "200"), "humidity": ("-0.1", "100.5")}.items():
            for text in texts:
                self.assertIn(
                    "each other's place",
                    self.refused("out_of_range", logged, self, self.room, field=name, **{name: text}),
                )
        for name in ("temperature", "humidity"):
            self.refused("missing", logged, self, self.room, field=name, **{name: "  "})
        self.assertFalse(AtmosphereReading.objects.exists())

    def test_below_zero_with_either_minus(self):
        for minute, text in enumerate(("-3.5", "\N{MINUS SIGN}3.5")):
            reading = logged(self, self.room, text, at=NOON - minute * MINUTE)
            self.assertEqual(reading.temperature_c, Decimal("-3.5"))

    def test_refuses_another_room_instrument_or_time(self):
        self.refused("no_room", logged, self, self.washers[0])
        self.refused("no_instrument", logged, self, self.room, instrument_id=self.washers[0].pk, field="instrument")
        self.refused("no_instrument", logged, self, self.room, instrument_id=10**6, field="instrument")
        self.refused("future", logged, self, self.room, at=NOON + HOUR)

    def test_the_instrument_must_be_usable_at_that_moment(self):
        a_calibration(self, self.logger, due_on=NOON.date() - DAY)
        reading = logged(self, self.room, instrument_id=self.logger.pk)
        told = "The calibration or verification of Logger 1 was due on 1 Mar 2026."
        self.assertEqual(self.entries(self.room)[0].facts["disclosed"], [told])
        out = {"equipment_id": self.logger.pk, "reason": "display broken", "by": self.bea}
        services.put_out_of_service(**out, at=NOON - HOUR)
        self.refused("out_of_service", logged, self, self.room, at=NOON - MINUTE, instrument_id=self.logger.pk)
        earlier = logged(self, self.room, at=NOON - 2 * HOUR, instrument_id=self.logger.pk)
        self.assertEqual({reading, earlier}, set(AtmosphereReading.objects.all()))

    def test_the_same_moment_is_read_once(self):
        first = logged(self, self.room)
        self.assertEqual(logged(self, self.room), first)
        sentence = self.refused("already_read", logged, self, self.room, "21")
        self.assertIn("read at 12:00 already: 20.3 °C, 64.0 %", sentence)

    def test_sent_twice_it_is_there_once(self):
        key = uuid.uuid4()
        first = logged(self, self.room, key=key)
        self.assertEqual(logged(self, self.room, key=key, at=NOON + timedelta(seconds=3)), first)
        with self.assertRaises(KeyReused):
            logged(self, self.room, "21", key=key)
        self.assertEqual(AtmosphereReading.objects.count(), 1)


class VoidTests(AirCase):
    def void(self, reading, reason="read off the wrong line", **values):
        return services.void_reading(reading_id=reading.pk, reason=reason, **{"by": self.bea, "at": NOON, **values})

    def test_counts_no_more_and_its_moment_is_free_again(self):
        self.void(logged(self, self.room))
        self.assertEqual(queries.atmosphere(self.room, NOON - HOUR, NOON), [])
        again = logged(self, self.room, "20.1")
        self.assertEqual(queries.atmosphere(self.room, NOON, NOON), [AirReading(NOON, Decimal("20.1"), Decimal(64))])
        self.assertEqual(AtmosphereReading.objects.exclude(pk=again.pk).get().void_reason, "read off the wrong line")
        self.assertEqual(self.entries(self.room)[1].facts["temperature_c"], "20.3000")

    def test_refuses_without_a_reason_and_twice(self):
        reading = logged(self, self.room)
        self.refused("reason_missing", self.void, reading, " ", field="reason")
        self.void(reading)
        self.refused("already_void", self.void, reading)

    def test_sent_twice_it_happens_once(self):
        reading, key = logged(self, self.room), uuid.uuid4()
        for _ in range(2):
            self.void(reading, key=key)
        self.assertEqual(len(self.entries(self.room)), 3)


class ToleranceTests(AirCase):
    def set(self, at=NOON, key=None, **changes):
        return services.set_tolerance(room_id=self.room.pk, limits=some_limits(**changes), by=self.mara, at=at, key=key)

    def test_without_one_the_standard_atmosphere_holds(self):
        rule = queries.rule_at(self.room, NOON)
        self.assertEqual((rule.band, rule.by_lab, rule.longest), (ISO_139, False, HOUR))

    def test_what_held_then_stays_in_the_book(self):
        self.set(at=NOON - 2 * DAY)
        self.set(gap_minutes=240)
        self.assertFalse(queries.rule_at(self.room, NOON - 3 * DAY).by_lab)
        self.assertEqual(queries.rule_at(self.room, NOON - DAY).longest, HOUR)
        rule = queries.rule_at(self.room, NOON)
        self.assertEqual((rule.longest, rule.words), (4 * HOUR, "23.0 ± 2.0 °C, 50.0 ± 4.0 % RH"))
        self.assertIn("ISO 139:2005", queries.told(self.entries(self.room)[0])["note"])

    def test_the_same_again_is_no_change(self):
        self.assertEqual(self.set(), self.set())
        self.assertEqual(Tolerance.objects.count(), 1)

    def test_refuses_what_makes_no_sense(self):
        self.refused("source_missing", self.set, source=" ", field="source")
        for name, value in {
            "temperature_c": Decimal(61),
            "humidity_pct": Decimal(-1),
            "temperature_tolerance_c": Decimal(0),
            "humidity_tolerance_pct": Decimal(21),
            "gap_minutes": 0,
        }.items():
            self.refused("out_of_range", self.set, field=name, **{name: value})
        wrong = {"room_id": self.washers[0].pk, "limits": some_limits(), "by": self.mara, "at": NOON}
        self.refused("no_room", services.set_tolerance, **wrong)

    def test_sent_twice_it_is_set_once(self):
        key = uuid.uuid4()
        self.set(key=key)
        self.set(key=key)
        self.assertEqual(len(self.entries(self.room)), 2)


class QueryTests(AirCase):
    def test_readings_in_force_from_old_to_new(self):
        for minutes in (0, 30, 15, 90):
            logged(self, self.room, at=NOON - minutes * MINUTE)
        logged(self, a_room(self, "Room 2"), "25", at=NOON)
        with self.assertNumQueries(1):
            found = queries.atmosphere(self.room, NOON - 30 * MINUTE, NOON)
        self.assertEqual([(NOON - each.at) / MINUTE for each in found], [30, 15, 0])
        self.assertEqual({each.temperature for each in found}, {Decimal("20.3")})

    def test_the_record_that_a_conditioning_clock_reads(self):
        for minutes in range(0, 600, 30):
            logged(self, self.room, at=NOON - minutes * MINUTE)
        since = NOON - 5 * HOUR + MINUTE
        with self.assertNumQueries(2):
            record = queries.air_record(self.room, since, NOON)
        self.assertEqual((record[0].at, record[-1].at), (NOON - 5 * HOUR, NOON))
        rule = queries.rule_at(self.room, NOON)
        ready = earliest_measurement(
            since=since,
            rest=4 * HOUR,
            record=record,
            limits=rule.band,
            excursions="restart",
            gaps="extend",
            longest_gap=rule.longest,
        )
        self.assertEqual(ready.ready_at, since + 4 * HOUR)
        self.assertIsInstance(rule.band, Atmosphere)

    def test_the_air_at_a_moment(self):
        self.assertIsNone(queries.atmosphere_at(NOON))
        first, second = logged(self, self.room, at=NOON - 2 * HOUR), logged(self, self.room, at=NOON - MINUTE)
        self.assertEqual(queries.atmosphere_at(NOON), second)
        self.assertEqual(queries.atmosphere_at(NOON - 90 * MINUTE, self.room), first)
        self.assertIsNone(queries.atmosphere_at(NOON - 2 * MINUTE), "the log had paused for too long")
        self.assertIsNone(queries.atmosphere_at(NOON, self.washers[0]))

    def test_of_several_rooms_the_one_read_last(self):
        other = a_room(self, "Room 2")
        logged(self, self.room, at=NOON - 20 * MINUTE)
        late = logged(self, other, at=NOON - 5 * MINUTE)
        with self.assertNumQueries(3):
            self.assertEqual(queries.atmosphere_at(NOON), late)
        self.assertEqual(queries.atmosphere_at(NOON, self.room).room, self.room)

    def test_the_band_of_a_method_is_read_from_its_figures(self):
        bands = {
            "aatcc-tm135-2003-small": "21.0 ± 1.0 °C, 65.0 ± 2.0 % RH",
            "aatcc-tm135-2018-small": "21.0 ± 2.0 °C, 65.0 ± 5.0 % RH",
        }
        for code, told in bands.items():
            self.assertEqual(words(queries.band_of(TestMethod.objects.get(code=code))), told)
        iso = queries.band_of(TestMethod.objects.filter(family="iso").first())
        self.assertEqual(words(iso), words(ISO_139))
        self.assertIn("ISO 139:2005", iso.source)

    def test_every_atmosphere_of_the_catalogue_can_be_read_and_is_offered_once(self):
        names = {str(method) for method in TestMethod.objects.filter(retired=False)}
        with self.assertNumQueries(3):
            offered = queries.offered_bands()
        self.assertEqual(len({each.key for each in offered}), len(offered))
        said = {name.removesuffix(" by agreement") for each in offered for name in each.methods}
        self.assertEqual(said, names)
        figures = Figure.objects.filter(name__startswith="conditioning atmosphere").exclude(value="")
        self.assertEqual(len({figure.value for figure in figures}), len(offered))

    def test_what_the_lab_says_of_a_figure_holds(self):
        method = TestMethod.objects.get(code="aatcc-tm135-2018-small")
        figure = Figure.objects.get(owner=method.owner, name="conditioning atmosphere")
        was, value = figure.value, "20 ± 1 °C, 60 ± 2 % RH"
        said = {"was": was, "value": value, "note": "our copy, table 1", "by": self.mara, "at": NOON}
        Confirmation.objects.create(figure=figure, ordinal=1, **said)
        self.assertEqual(words(queries.band_of(method)), "20.0 ± 1.0 °C, 60.0 ± 2.0 % RH")
        self.assertIn("our copy, table 1", queries.band_of(method).source)
        self.assertIn("20-1-60-2", {each.key for each in queries.offered_bands()})

    def test_a_figure_that_cannot_be_read_gives_no_band(self):
        method = TestMethod.objects.first()
        method.code = "unheard-of"
        self.assertIsNone(queries.band_of(method))

    def test_late_entries_keep_both_times(self):
        with clock.set_to(NOON + 9 * HOUR):
            reading = logged(self, self.room, at=NOON)
        self.assertEqual((reading.at, reading.recorded_at), (NOON, NOON + 9 * HOUR))

    def test_from_a_file_and_by_hand_are_one_log(self):
        taken_in(self, self.room, a_file(quarters(4)))
        logged(self, self.room, "20.9", at=NOON - MINUTE)
        found = [each.temperature for each in queries.atmosphere(self.room, NOON - HOUR, NOON)]
        self.assertEqual(found[-2:], [Decimal("20.9"), Decimal("20.3")])
