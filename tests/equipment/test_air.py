"""Times outside the tolerance, gaps of the log, and what a day comes to. Numbers only."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from unittest import TestCase

from apps.calc.conditioning import ISO_139, AirReading, Atmosphere
from apps.equipment.air import Gap, excursions, gaps, limits, read_band, spans, words
from apps.equipment.figures import celsius, kept, number, plain

START = datetime(2026, 3, 2, 6, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def log(*figures, every: timedelta = 15 * MINUTE) -> list[AirReading]:
    """Readings one after the other: a temperature, or a temperature and a humidity."""
    pairs = [figure if isinstance(figure, tuple) else (figure, "65") for figure in figures]
    return [AirReading(START + every * n, Decimal(t), Decimal(h)) for n, (t, h) in enumerate(pairs)]


class BandTests(TestCase):
    def test_the_limits_are_inside(self):
        for t, h, inside in (
            ("18.0", "61.0", True),
            ("22", "69", True),
            ("22.0001", "65", False),
            ("17.9", "65", False),
            ("20", "69.1", False),
            ("20", "60.9999", False),
        ):
            self.assertEqual(ISO_139.holds(AirReading(START, Decimal(t), Decimal(h))), inside, (t, h))

    def test_read_as_the_catalogue_writes_it(self):
        band = read_band("21 ± 1 °C, 65 ± 2 % RH", "the source")
        self.assertEqual(band, Atmosphere(Decimal(21), Decimal(1), Decimal(65), Decimal(2), "the source"))
        self.assertEqual(words(band), "21.0 ± 1.0 °C, 65.0 ± 2.0 % RH")
        self.assertEqual(limits(band, "humidity"), (Decimal(63), Decimal(67)))
        for text in ("21+/-1 °C; 65+/-2 %", "21 ± 1.0°C,65 ± 2%rh", " 21 ± 1 °C, 65 ± 2 % r.h. "):
            self.assertEqual(read_band(text, "the source"), band)
        for text in (
            "",
            "21 °C",
            "21 ± 1 °C",
            "about 21 ± 1 °C, 65 ± 2 % RH",
            "21 ± x °C, 65 ± 2 % RH",
            "٢١ ± 1 °C, 65 ± 2 %",
        ):
            self.assertIsNone(read_band(text, ""))


class ExcursionTests(TestCase):
    def found(self, readings, longest=HOUR):
        return [
            (each.quantity, each.above, (each.since - START) / MINUTE, (each.last - START) / MINUTE, each.readings)
            for each in excursions(readings, ISO_139, longest)
        ]

    def test_none(self):
        self.assertEqual(excursions([], ISO_139), [])
        self.assertEqual(self.found(log("20", "22", "18")), [])

    def test_from_the_first_outside_to_the_last_and_back(self):
        (one,) = excursions(log("20", "22.5", "23.4", "22.1", "21"), ISO_139)
        self.assertEqual((one.since, one.last, one.back), (START + 15 * MINUTE, START + 45 * MINUTE, START + HOUR))
        self.assertEqual((one.worst, one.limit, one.unit, one.readings), (Decimal("23.4"), Decimal("22.0"), "°C", 3))

    def test_still_outside_at_the_end(self):
        (one,) = excursions(log("20", "22.5"), ISO_139)
        self.assertIsNone(one.back)

    def test_above_and_below_are_told_apart(self):
        found = self.found(log("23", "17", "20"))
        self.assertEqual(found, [("temperature", True, 0, 0, 1), ("temperature", False, 15, 15, 1)])
        self.assertIsNone(excursions(log("23", "17", "20"), ISO_139)[0].back, "it was never seen within")
        self.assertEqual(excursions(log("23", "17", "20"), ISO_139)[1].worst, Decimal(17))

    def test_temperature_and_humidity_are_told_apart(self):
        found = self.found(log(("23", "70"), ("20", "70"), ("20", "65")))
        self.assertEqual(found, [("humidity", True, 0, 15, 2), ("temperature", True, 0, 0, 1)])

    def test_a_gap_ends_it(self):
        readings = log("23", "23", every=2 * HOUR)
        self.assertEqual(self.found(readings), [("temperature", True, 0, 0, 1), ("temperature", True, 120, 120, 1)])
        self.assertEqual(self.found(readings, longest=2 * HOUR), [("temperature", True, 0, 120, 2)])
        self.assertIsNone(excursions(log("23", "20", every=2 * HOUR), ISO_139)[0].back)


class GapTests(TestCase):
    def test_between_before_and_after(self):
        readings = [AirReading(START + HOUR * n, Decimal(20), Decimal(65)) for n in (2, 3, 6)]
        found = gaps(readings, START, START + 9 * HOUR)
        self.assertEqual(
            [(gap.since, gap.until) for gap in found],
            [(START + HOUR * a, START + HOUR * b) for a, b in ((0, 2), (3, 6), (6, 9))],
        )

    def test_a_pause_as_long_as_allowed_is_none(self):
        self.assertEqual(gaps(log("20", "20", every=HOUR), START, START + 2 * HOUR), [])

    def test_no_readings_at_all(self):
        self.assertEqual(gaps([], START, START + 5 * HOUR), [Gap(START, START + 5 * HOUR)])
        self.assertEqual(gaps([], START, START + HOUR), [])

    def test_in_words(self):
        for minutes, told in ((45, "45 min"), (125, "2 h 05 min"), (2879, "47 h 59 min"), (4560, "3 days 4 h")):
            self.assertEqual(Gap(START, START + minutes * MINUTE).words, told)


class SpanTests(TestCase):
    def test_lowest_highest_and_how_many_outside(self):
        readings = log("20", "23", "19.5", ("20", "60"), "21")
        first, second, third = spans(readings, [START + n * 30 * MINUTE for n in range(4)], ISO_139)
        self.assertEqual((first.readings, first.outside, first.temperature), (2, 1, (Decimal(20), Decimal(23))))
        self.assertEqual((second.readings, second.outside, second.humidity), (2, 1, (Decimal(60), Decimal(65))))
        self.assertEqual((third.readings, third.outside), (1, 0))

    def test_nothing_is_known_where_nothing_was_read(self):
        (span,) = spans([], [START, START + HOUR], ISO_139)
        self.assertEqual((span.readings, span.outside, span.temperature, span.humidity), (0, 0, None, None))

    def test_what_lies_outside_the_edges_is_left_out(self):
        (span,) = spans(log("30", "20", "30"), [START + 10 * MINUTE, START + 20 * MINUTE], ISO_139)
        self.assertEqual((span.readings, span.outside), (1, 0))


class FigureTests(TestCase):
    def test_read(self):
        for text, value in (("20.3", "20.3"), ("20,3", "20.3"), ("-2", "-2"), ("−2", "-2"), ("+7", "7"), ("007", "7")):
            self.assertEqual(number(text), Decimal(value), text)
        for text in ("", " ", "abc", "1e3", "NaN", "inf", "1_0", "20.", ".5", "1,2,3", "12345", "٣", "20 ", "0x1"):
            self.assertIsNone(number(text), text)

    def test_kept_to_four_decimals_and_never_minus_zero(self):
        self.assertEqual(str(kept(Decimal("20.299999237"))), "20.3000")
        self.assertEqual(str(kept(Decimal("-0.00001"))), "0.0000")

    def test_fahrenheit(self):
        for fahrenheit, degrees in (("68", "20.0000"), ("70", "21.1111"), ("32", "0.0000"), ("-40", "-40.0000")):
            self.assertEqual(str(kept(celsius(Decimal(fahrenheit)))), degrees)

    def test_spoken(self):
        for value, text in (
            ("20.3000", "20.3"),
            ("64", "64.0"),
            ("-2.50", "−2.5"),
            ("20.1250", "20.125"),
            ("0", "0.0"),
        ):
            self.assertEqual(plain(Decimal(value)), text)
        self.assertEqual(plain(None), "")
