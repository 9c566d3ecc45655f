"""The page of a room's air: logged with two numbers and Enter, drawn for a day or seven, told in words."""

import uuid
from datetime import UTC, datetime, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from apps.core import clock
from apps.equipment import services
from apps.equipment.models import AtmosphereReading, Tolerance
from apps.equipment.queries.air_page import air_page
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

LONG = "x" * 10_000


class PageCase(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.room, cls.logger = a_room(cls), a_logger(cls)
        cls.page = f"/equipment/{cls.room.pk}/atmosphere/"
        cls.log, cls.tolerance = f"{cls.page}log/", f"{cls.page}tolerance/"

    def setUp(self):
        self.sign_in(self.bea)

    def post(self, address: str, **data):
        return self.client.post(address, {"key": str(uuid.uuid4()), **data})


class LogTests(PageCase):
    def test_two_numbers(self):
        page = self.client.post(self.log, {"temperature": "20.3", "humidity": "64"}, follow=True)
        self.assertRedirects(page, self.page)
        self.assertEqual(self.told(page), ["20.3 °C and 64.0 % RH are logged."])
        reading = AtmosphereReading.objects.get()
        self.assertEqual((reading.at, reading.by, reading.instrument), (NOON, self.bea, None))
        self.assertContains(page, "typed by Bea Bench")

    def test_the_instrument_used_last_is_chosen_already(self):
        self.post(self.log, temperature="20.3", humidity="64", instrument=self.logger.pk, when="2026-03-02T11:30")
        page = self.client.get(self.page)
        self.assertEqual(page.context["form"]["instrument"].value(), self.logger.pk)
        self.assertEqual(AtmosphereReading.objects.get().at, NOON - 30 * MINUTE)

    def test_outside_the_tolerance_and_overdue_are_said_at_once(self):
        a_calibration(self, self.logger, due_on=NOON.date() - DAY)
        data = {"temperature": "23", "humidity": "70", "instrument": self.logger.pk}
        told = self.told(self.client.post(self.log, data, follow=True))
        self.assertIn("outside of 20.0 ± 2.0 °C, 65.0 ± 4.0 % RH", told[0])
        self.assertEqual(told[1], "The calibration or verification of Logger 1 was due on 1 Mar 2026.")

    def test_bad_input(self):
        good = {"temperature": "20.3", "humidity": "64", "instrument": self.logger.pk, "when": ""}
        for field, typed, sentence in (
            ("temperature", "", "This field is required"),
            ("temperature", "warm", "Type a figure such as 20.3"),
            ("temperature", "65", "each other&#x27;s place"),
            ("temperature", "1e999", "Type a figure"),
            ("temperature", "NaN", "Type a figure"),
            ("temperature", "-41", "lies between"),
            ("temperature", "2\0", "Null characters"),
            ("temperature", "🧵", "Type a figure"),
            ("humidity", LONG, "at most 20 characters"),
            ("humidity", "-3", "lies between"),
            ("humidity", "101", "lies between"),
            ("instrument", "x", "cannot be chosen now"),
            ("instrument", self.washers[0].pk, "cannot be chosen now"),
            ("when", "2026-03-02T13:00", "in the future"),
            ("when", "soon", "A date and a time"),
            ("when", "0001-01-01T00:00", "more than a year ago"),
            ("when", "1999-99-99T00:00", "A date and a time"),
        ):
            with self.subTest(field=field, typed=str(typed)[:12]):
                page = self.post(self.log, **{**good, field: typed})
                self.assertContains(page, sentence)
                for name, value in good.items():
                    if name != field:
                        self.assertEqual(str(page.context["form"][name].value()), str(value))
        self.assertContains(self.client.post(self.log, {}), "This field is required")
        self.assertFalse(AtmosphereReading.objects.exists())

    def test_a_double_click_logs_once(self):
        key = str(uuid.uuid4())
        for _ in range(2):
            self.assertRedirects(self.post(self.log, temperature="20", humidity="65", key=key), self.page)
        page = self.post(self.log, temperature="21", humidity="65", key=key)
        self.assertContains(page, "already sent with other content")
        self.assertEqual(AtmosphereReading.objects.count(), 1)

    def test_an_instrument_out_of_service_cannot_be_chosen(self):
        services.put_out_of_service(equipment_id=self.logger.pk, reason="drifts", by=self.bea, at=NOON)
        page = self.post(self.log, temperature="20", humidity="65", instrument=self.logger.pk)
        self.assertContains(page, "cannot be chosen now")

    def test_who_may(self):
        reading = logged(self, self.room)
        void = f"/equipment/readings/{reading.pk}/void/"
        staff, bench, lead = {"fran", "bea", "lou", "mara"}, {"bea", "mara"}, {"mara"}
        asked = {
            self.page: ("get", staff),
            self.log: ("post", bench),
            self.tolerance: ("get", lead),
            void: ("get", bench),
        }
        for name in ("nobody", *staff, "casey"):
            self.sign_in(getattr(self, name, None))
            for address, (verb, may) in asked.items():
                with self.subTest(name=name, address=address):
                    status = getattr(self.client, verb)(address).status_code
                    self.assertEqual(status, 302 if name == "nobody" else 200 if name in may else 403)
        self.sign_in(self.lou)
        page = self.client.get(self.page)
        for address in (self.log, self.tolerance, void, f"{self.page}import/"):
            self.assertNotContains(page, address)

    def test_verbs_and_what_is_no_room(self):
        self.assertEqual(self.client.get(self.log).status_code, 405)
        self.assertEqual(self.client.post(self.page).status_code, 405)
        for pk in (self.washers[0].pk, 0, 987654321, 10**30):
            self.assertEqual(self.client.get(f"/equipment/{pk}/atmosphere/").status_code, 404)
            self.assertEqual(self.client.post(f"/equipment/{pk}/atmosphere/log/").status_code, 404)


class ShowTests(PageCase):
    def test_a_day_in_words(self):
        rows = quarters(40)
        for n in (10, 11, 12):
            rows[n] = (rows[n][0], "20.3", "71.5")
        del rows[20:30]
        taken_in(self, self.room, a_file(rows))
        page = self.client.get(self.page)
        self.assertContains(page, "up to <b>71.5 % RH</b> (at most 69.0)")
        for words in ("3 readings", "04:45", "05:30", "(2 h 45 min)", "Outside the tolerance", "02:15"):
            self.assertContains(page, words)
        self.assertContains(page, "<title>The air of Room 1, 2 Mar 2026</title>")
        self.assertContains(page, "30 readings. Temperature from 20.3 to 20.3 °C, humidity from 64.0 to 71.5 %.")
        hours = page.context["air"].rows
        self.assertEqual(hours[-1].label, "12:00", "hours that have not come are left out")
        self.assertEqual(
            (len(hours), hours[4].label, hours[4].humidity, hours[4].span.outside), (13, "04:00", "64.0–71.5", 1)
        )

    def test_what_went_on_over_midnight_is_told_whole(self):
        midnight = NOON - 12 * HOUR
        rows = [
            (midnight + n * 10 * MINUTE, "20", "72" if -3 <= n <= 2 else "65") for n in range(-30, 30) if not 3 < n < 12
        ]
        with clock.set_to(NOON):
            taken_in(self, self.room, a_file([*rows, (midnight - 7 * HOUR, "20", "65")]))
        for day, gap in (("2026-03-01", (-7 * HOUR, -5 * HOUR)), ("2026-03-02", (30 * MINUTE, 2 * HOUR))):
            air = self.client.get(self.page, {"on": day}).context["air"]
            (one,) = air.excursions
            self.assertEqual((one.since, one.back), (midnight - 30 * MINUTE, midnight + 30 * MINUTE))
            self.assertEqual((air.gaps[0].since, air.gaps[0].until), (midnight + gap[0], midnight + gap[1]))

    def test_a_gap_over_midnight_is_seen_on_both_days(self):
        midnight = NOON - 12 * HOUR
        for minutes in (-40, 35):
            logged(self, self.room, at=midnight + minutes * MINUTE)
        for day in ("2026-03-01", "2026-03-02"):
            gaps = self.client.get(self.page, {"on": day}).context["air"].gaps
            self.assertEqual((gaps[0].since, gaps[0].until), (midnight - 40 * MINUTE, midnight + 35 * MINUTE))
        self.assertEqual(self.client.get(self.page, {"on": "2026-03-09"}).context["air"].gaps, [])

    def test_seven_days(self):
        for days in (0, 6, 7):
            taken_in(self, self.room, a_file(quarters(3, until=NOON - days * DAY)))
        page = self.client.get(self.page, {"view": "week"})
        rows = page.context["air"].rows
        self.assertEqual([row.label for row in rows][::6], ["Tue 24", "Mon 2"])
        self.assertEqual([row.span.readings for row in rows], [3, 0, 0, 0, 0, 0, 3])
        self.assertContains(page, "?view=day&amp;on=2026-02-24")
        self.assertContains(page, "on=2026-02-23")
        self.assertNotContains(page, "Single readings")

    def test_held_against_a_methods_atmosphere(self):
        logged(self, self.room, "22.5", "65")
        self.assertEqual(len(self.client.get(self.page).context["air"].excursions), 1)
        page = self.client.get(self.page, {"against": "21-2-65-5"})
        self.assertEqual(page.context["air"].excursions, [])
        self.assertContains(page, "Held against 21.0 ± 2.0 °C, 65.0 ± 5.0 % RH")
        self.assertContains(page, '<option value="21-2-65-5" selected>')
        self.assertEqual(self.client.get(self.page, {"against": "1-2-3-4"}).context["air"].against, "")

    def test_what_cannot_be_shown_shows_today(self):
        for asked in (
            *({"on": text} for text in ("soon", "9999-12-31", "0001-01-01", "1e999", "\0", LONG, "2026-02-30")),
            {"view": "year"},
            {"against": LONG},
        ):
            with self.subTest(asked=str(asked)[:20]):
                page = self.client.get(self.page, asked)
                self.assertContains(page, "No such day")
                self.assertEqual(page.context["air"].on, NOON.date())
        for text in ("2000-01-01", "2100-12-31"):
            for view in ("day", "week"):
                self.assertEqual(self.client.get(self.page, {"on": text, "view": view}).status_code, 200)

    def test_before_the_first_reading_there_is_no_gap(self):
        self.assertContains(self.client.get(self.page), "Nothing was logged in this time.")
        logged(self, self.room, at=NOON - 10 * MINUTE)
        self.assertEqual(self.client.get(self.page).context["air"].gaps, [])
        with clock.set_to(NOON + 3 * HOUR):
            (gap,) = self.client.get(self.page).context["air"].gaps
            self.assertEqual((gap.since, gap.until), (NOON - 10 * MINUTE, NOON + 3 * HOUR))
        with clock.set_to(NOON + 2 * DAY):
            page = self.client.get(self.page, {"on": "2026-03-03"})
            self.assertEqual(len(page.context["air"].gaps), 1)

    def test_entered_late_and_void(self):
        reading = logged(self, self.room, at=NOON - 5 * HOUR)
        self.assertContains(self.client.get(self.page), "entered <time")
        address = f"/equipment/readings/{reading.pk}/void/"
        self.assertContains(self.client.get(address), "The reading of 2 Mar 2026, 07:00 (20.3 °C, 64.0 %)")
        for typed, sentence in (("", "This field is required"), (LONG, "at most 200"), ("\0", "Null characters")):
            self.assertContains(self.post(address, reason=typed), sentence)
        self.assertContains(self.client.post(address, {}), "This field is required")
        self.assertRedirects(self.post(address, reason="wrong line"), f"{self.page}?view=day&on=2026-03-02")
        self.assertContains(self.client.get(self.page), "wrong line (Bea Bench)")
        self.assertContains(self.post(address, reason="again"), "void already")
        self.assertEqual(self.client.get("/equipment/readings/987654321/void/").status_code, 404)

    def test_does_not_grow(self):
        counts = []
        for number in (2, 22):
            for n in range(AtmosphereReading.objects.count(), number):
                logged(self, self.room, at=NOON - n * MINUTE, instrument_id=self.logger.pk)
            with CaptureQueriesContext(connection) as seen:
                page = self.client.get(self.page)
            counts.append(len(seen))
        self.assertEqual(len(page.context["page"]), 22)
        self.assertEqual(counts[0], counts[1])
        self.assertLessEqual(counts[0], 17)

    def test_single_readings_in_pages_of_fifty(self):
        taken_in(self, self.room, a_file([(NOON - n * MINUTE, "20", "65") for n in range(60)]))
        self.assertEqual(len(self.client.get(self.page).context["page"]), 50)
        self.assertEqual(len(self.client.get(self.page, {"page": "2"}).context["page"]), 10)


class ClockTests(PageCase):
    def test_a_day_is_the_labs_own_and_may_have_23_or_25_hours(self):
        with self.settings(TIME_ZONE="Europe/Vienna"), timezone.override("Europe/Vienna"):
            for day, hours in ((datetime(2025, 10, 26), 25), (datetime(2025, 3, 30), 23), (datetime(2025, 7, 1), 24)):
                air = air_page(self.room, view="day", on=day.date(), against="", now=NOON)
                self.assertEqual(len(air.rows), hours)
                self.assertEqual(air.until - air.since, timedelta(hours=hours))
            self.assertEqual(air.since, datetime(2025, 6, 30, 22, tzinfo=UTC))
            air = air_page(self.room, view="week", on=datetime(2025, 10, 27).date(), against="", now=NOON)
            self.assertEqual(air.until - air.since, 7 * DAY + HOUR)

    def test_a_chart_loses_no_peak(self):
        rows = [(NOON - n * MINUTE, "20", "65") for n in range(700)]
        rows[333] = (rows[333][0], "25.5", "65")
        taken_in(self, self.room, a_file(rows))
        air = air_page(self.room, view="day", on=NOON.date(), against="", now=NOON)
        lines = [shape for shape in air.chart.shapes if getattr(shape, "css", "") == "series series-1"]
        self.assertLess(len(lines[0].points), 400)
        self.assertEqual(sum(shape.css == "out" for shape in air.chart.shapes if hasattr(shape, "points")), 1)


class TolerancePageTests(PageCase):
    GOOD = {
        "temperature_c": "23.0",
        "temperature_tolerance_c": "2.0",
        "humidity_pct": "50.0",
        "humidity_tolerance_pct": "4.0",
        "source": "ISO 139:2005, the alternative atmosphere",
        "gap_minutes": "240",
    }

    def setUp(self):
        self.sign_in(self.mara)

    def test_works(self):
        page = self.client.get(self.tolerance)
        self.assertContains(page, "ISO 139")
        self.assertEqual(str(page.context["form"]["temperature_c"].value()), "20.0")
        self.assertRedirects(self.post(self.tolerance, **self.GOOD), self.page)
        logged(self, self.room, "23", "50")
        page = self.client.get(self.page)
        self.assertContains(
            page, "Held against 23.0 ± 2.0 °C, 50.0 ± 4.0 % RH (ISO 139:2005, the alternative atmosphere)"
        )
        self.assertContains(page, "A pause of more than 240 minutes is a gap.")
        self.assertContains(self.client.get(f"/equipment/{self.room.pk}/"), "Tolerance of the air set")

    def test_bad_input(self):
        for field, typed, sentence in (
            ("temperature_c", "", "This field is required"),
            ("temperature_c", "warm", "Enter a number"),
            ("temperature_c", "NaN", "Enter a number"),
            ("temperature_c", "1e999", "Ensure that there are no more than"),
            ("temperature_c", "61", "From −40.0 to 60.0 °C"),
            ("temperature_c", "20.55", "1 decimal place"),
            ("temperature_tolerance_c", "0", "Above 0"),
            ("humidity_pct", "-1", "From 0.0 to 100.0"),
            ("humidity_tolerance_pct", "-1", "Above 0"),
            ("source", "", "This field is required"),
            ("source", LONG, "at most 200 characters"),
            ("source", "a\0", "Null characters"),
            ("gap_minutes", "0", "From 1 minute"),
            ("gap_minutes", "99999999999", "From 1 minute"),
            ("gap_minutes", "-5", "greater than or equal to 0"),
            ("gap_minutes", "🧵", "Enter a whole number"),
        ):
            with self.subTest(field=field, typed=typed[:10]):
                page = self.post(self.tolerance, **{**self.GOOD, field: typed})
                self.assertContains(page, sentence)
                self.assertContains(page, 'class="error"')
        self.assertContains(self.client.post(self.tolerance, {}), "This field is required")
        self.assertFalse(Tolerance.objects.exists())
