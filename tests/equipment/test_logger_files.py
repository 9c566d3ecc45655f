"""What loggers write, and what people make of it in a spreadsheet. Text in, readings or sentences out."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from unittest import TestCase, mock
from zoneinfo import ZoneInfo

from apps.equipment import logger_files
from apps.equipment.logger_files import How, read_file
from apps.equipment.moments import Dates

LATEST = datetime(2026, 3, 2, 12, tzinfo=UTC)
VIENNA = ZoneInfo("Europe/Vienna")
HEADING = "time,temperature (°C),humidity (%)"


def read(text: str | bytes, zone=UTC, **how):
    content = text if isinstance(text, bytes) else text.encode()
    return read_file(content, how=How(**how), zone=zone, latest=LATEST)


class FileCase(TestCase):
    def rows(self, text: str | bytes, **how) -> list[tuple[str, str, str]]:
        sheet = read(text, **how)
        self.assertEqual(sheet.problems, [])
        return [
            (
                f"{row.air.at:%Y-%m-%d %H:%M:%S}",
                f"{row.air.temperature.normalize():f}",
                f"{row.air.humidity.normalize():f}",
            )
            for row in sheet.rows
        ]

    def one(self, text: str | bytes, **how) -> tuple[str, str, str]:
        (row,) = self.rows(text, **how)
        return row

    def problems(self, text: str | bytes, **how) -> list[tuple[int, str, str, str]]:
        sheet = read(text, **how)
        return [(each.line, each.column, each.text, each.sentence) for each in sheet.problems]

    def problem(self, text: str | bytes, **how) -> tuple[int, str, str, str]:
        (problem,) = self.problems(text, **how)
        return problem


class ShapesTests(FileCase):
    EXPECTED = ("2026-03-01 14:05:00", "20.3", "64.5")

    def test_delimiters_commas_and_headings(self):
        for text in (
            f"{HEADING}\n2026-03-01 14:05,20.3,64.5",
            f"{HEADING}\r\n2026-03-01 14:05,20.3,64.5\r\n",
            f"{HEADING}\r2026-03-01 14:05,20.3,64.5\r",
            "Zeit;Temperatur [°C];Feuchte [%]\n01.03.2026 14:05;20,3;64,5",
            "Datum\tUhrzeit\tTemp.\tr.F.\n01.03.2026\t14:05:00\t20,3\t64,5",
            'Date,Time,"Temp, °C (LGR)","RH, %"\n2026/03/01,14:05,20.3,64.5',
            "Time,Date,Temp,RH\n14:05,2026-03-01,20.3,64.5",
            "no,timestamp,dew point temp,temp_c,rel humidity,note\n1,2026-03-01T14:05:00,13.1,20.3,64.5,ok",
            'Date-Time,Temperature,%RH\n"2026-03-01 14:05","20,3","64,5"',
            "humidity;temperature;time\n64.5;20.3;2026-03-01 14:05",
            f"Logger 7 of an invented lab\n\nserial;12\n{HEADING}\n2026-03-01 14:05,20.3,64.5\n\n , ,\n",
        ):
            with self.subTest(text=text):
                self.assertEqual(self.one(text), self.EXPECTED)

    def test_encodings(self):
        text = f"{HEADING}\n2026-03-01 14:05,20.3,64.5"
        for encoding in ("utf-8", "utf-8-sig", "cp1252", "utf-16"):
            self.assertEqual(self.one(text.encode(encoding)), self.EXPECTED, encoding)

    def test_sorted_whatever_the_order(self):
        rows = self.rows(f"{HEADING}\n2026-03-01 15:00,21,60\n2026-03-01 14:00,20,61")
        self.assertEqual([row[1] for row in rows], ["20", "21"])

    def test_more_decimals_than_anybody_knows(self):
        sheet = read(f"{HEADING}\n2026-03-01 14:05,20.299999237,64.5")
        self.assertEqual((sheet.rows[0].air.temperature, sheet.rounded), (Decimal("20.3"), True))
        self.assertFalse(read(f"{HEADING}\n2026-03-01 14:05,20.2999,64.5").rounded)


class UnitTests(FileCase):
    def test_fahrenheit_by_heading_or_as_told(self):
        for heading in (
            "temp (°F)",
            "Temp, °F (S/N 12)",
            "Temperature Fahrenheit",
            "temp_f",
            "Temp [deg F]",
            "T temp (F)",
        ):
            row = self.one(f"time;{heading};rh\n2026-03-01 14:05;68;65")
            self.assertEqual(row[1:], ("20", "65"), heading)
        for heading in ("temp", "temp (°C)", "temperature of the floor"):
            self.assertEqual(self.one(f"time,{heading},rh\n2026-03-01 14:05,20,65")[1], "20")
        self.assertEqual(self.one("time,temp,rh\n2026-03-01 14:05,68,65", fahrenheit=True)[1], "20")
        self.assertEqual(self.one("time,temp (F),rh\n2026-03-01 14:05,20,65", fahrenheit=False)[1], "20")

    def test_degrees_that_no_room_has(self):
        problem = self.problem("time,temp,rh\n2026-03-01 14:05,68,65")
        self.assertEqual(problem, (2, "temp", "68", "A temperature lies between −40.0 and 60.0 °C."))
        problem = self.problem("time,temp (F),rh\n2026-03-01 14:05,680,65")
        self.assertEqual(problem[3], "A temperature lies between −40.0 and 60.0 °C (360.0 °C).")


class MomentTests(FileCase):
    def at(self, text: str, **how) -> str:
        return self.one(f"time;temp;rh\n{text};20;65", **how)[0]

    def test_as_loggers_write_them(self):
        for text, at in (
            ("2026-03-01 14:05", "2026-03-01 14:05:00"),
            ("2026-3-1 4:05", "2026-03-01 04:05:00"),
            ("2026/03/01 14:05:07.250", "2026-03-01 14:05:07"),
            ("2026-03-01T14:05:07Z", "2026-03-01 14:05:07"),
            ("2026-03-01T14:05+01:00", "2026-03-01 13:05:00"),
            ("2026-03-01 14:05 -0530", "2026-03-01 19:35:00"),
            ("1.3.26 14.05", "2026-03-01 14:05:00"),
            ("01.03.2026, 14:05", "2026-03-01 14:05:00"),
            ("28/02/2026 14:05", "2026-02-28 14:05:00"),
            ("02/28/2026 02:05 PM", "2026-02-28 14:05:00"),
            ("02/28/26 12:05:01 am", "2026-02-28 00:05:01"),
            ("28-02-2026 12:00 p.m.", "2026-02-28 12:00:00"),
        ):
            self.assertEqual(self.at(text), at, text)

    def test_day_or_month_first_is_seen_in_the_whole_file_or_asked(self):
        text = "time;temp;rh\n02/01/2026 14:05;20;65\n{};20;65"
        self.assertEqual(self.rows(text.format("13/01/2026 14:05"))[0][0], "2026-01-02 14:05:00")
        self.assertEqual(self.rows(text.format("01/13/2026 14:05"))[1][0], "2026-02-01 14:05:00")
        unsure = text.format("03/01/2026 14:05")
        self.assertIn("Is the day or the month first?", self.problem(unsure)[3])
        self.assertEqual(self.rows(unsure, dates=Dates.DAY_FIRST)[0][0], "2026-01-02 14:05:00")
        self.assertEqual(self.rows(unsure, dates=Dates.MONTH_FIRST)[0][0], "2026-02-01 14:05:00")

    def test_on_the_labs_clock_in_utc_or_as_the_heading_says(self):
        text = "{};temp;rh\n2026-01-15 14:05;20;65"
        self.assertEqual(self.one(text.format("time"), zone=VIENNA)[0], "2026-01-15 13:05:00")
        self.assertEqual(self.one(text.format("time"), zone=VIENNA, utc=True)[0], "2026-01-15 14:05:00")
        for heading, at in (
            ("Date Time, GMT+02:00", "12:05"),
            ("time (UTC)", "14:05"),
            ("time GMT-5", "19:05"),
            ("time (UTC +5:30)", "08:35"),
        ):
            sheet = read(text.format(f'"{heading}"'), zone=VIENNA)
            self.assertEqual(f"{sheet.rows[0].air.at:%H:%M}", at, heading)
            self.assertIn("as the heading says", sheet.clock)

    def test_the_nights_on_which_the_clocks_change(self):
        text = "time;temp;rh\n{};20;65"
        self.assertIn("comes twice", self.problem(text.format("2025-10-26 02:30"), zone=VIENNA)[3])
        self.assertIn("is left out", self.problem(text.format("2025-03-30 02:30"), zone=VIENNA)[3])
        self.assertEqual(self.one(text.format("2025-10-26 03:00"), zone=VIENNA)[0], "2025-10-26 02:00:00")
        self.assertEqual(self.one(text.format("2025-10-26 02:30+02:00"), zone=VIENNA)[0], "2025-10-26 00:30:00")
        self.assertEqual(self.one(text.format("2025-10-26 02:30"), zone=VIENNA, utc=True)[0], "2025-10-26 02:30:00")

    def test_what_is_no_moment(self):
        for text in (
            *("yesterday", "14:05", "2026-03-01", "46082.586", "2026-03-01 25:00", "2026-13-01 10:00"),
            *("2026-02-30 10:00", "0000-01-01 10:00", "13:05 PM", "2026-03-01 13:05 PM", "1.1.260 10:00"),
            *("2026-03/01 10:00", "٢٠٢٦-٠٣-٠١ 10:00", "9999-12-31 23:59 -1400", "=NOW()", "2026-03-01 10:00 +9999"),
        ):
            with self.subTest(text=text):
                line, column, _, sentence = self.problem(f"time;temp;rh\n{text};20;65")
                self.assertEqual((line, column), (2, "time"))
                self.assertRegex(sentence, "no date and time|no such date")

    def test_years_that_cannot_be(self):
        self.assertIn("in the future", self.problem("time;temp;rh\n2026-03-02 12:01;20;65")[3])
        self.assertIn("before 2000", self.problem("time;temp;rh\n1999-03-02 12:01;20;65")[3])


class RefusedTests(FileCase):
    def test_every_wrong_cell_is_named_at_once(self):
        text = f"{HEADING}\n2026-03-01 14:00,20,65\n2026-03-01 14:05,x,65\n2026-03-01 14:10,20,\nsoon,NaN,101"
        self.assertEqual(
            self.problems(text),
            [
                (3, "temperature (°C)", "x", "This is no figure."),
                (4, "humidity (%)", "", "The humidity is missing."),
                (5, "time", "soon", "This is no date and time. Write it as 2026-03-02 14:05."),
                (5, "temperature (°C)", "NaN", "This is no figure."),
                (5, "humidity (%)", "101", "A humidity lies between 0.0 and 100.0 % RH."),
            ],
        )

    def test_figures_that_are_none(self):
        for text in ("NaN", "1e999", "20 °C", "--.-", "=1+1", "٢٠", "2_0", "9" * 5000, "20\x00", "1 000"):
            with self.subTest(text=text[:9]):
                problems = self.problems(f"{HEADING}\n2026-03-01 14:05,{text},65")
                self.assertEqual(len(problems), 1)
                self.assertLess(len(problems[0][2]), 42)

    def test_a_moment_said_twice(self):
        text = f"{HEADING}\n2026-03-01 14:00,20,65\n2026-03-01 14:00:00,20.0,65\n2026-03-01 14:00,21,65"
        sheet = read(text)
        self.assertEqual((len(sheet.rows), sheet.repeated), (1, [3]))
        self.assertEqual(sheet.problems[0].sentence, "Line 2 says otherwise for the same moment.")

    def test_lines_without_figures_are_told_and_left_out(self):
        sheet = read(
            f"{HEADING}\n2026-03-01 14:00,20,65\n2026-03-01 14:05,,\n2026-03-01 14:10,---,--\n2026-03-01 14:15,-,"
        )
        self.assertEqual((len(sheet.rows), sheet.blank, sheet.problems), (1, [3, 4, 5], []))

    def test_short_lines_and_long_ones(self):
        self.assertEqual(len(self.problems(f"{HEADING}\n2026-03-01 14:00")), 0)
        self.assertEqual(self.problem(f"{HEADING}\n2026-03-01 14:00,20")[3], "The humidity is missing.")
        self.assertEqual(self.one(f"{HEADING}\n2026-03-01 14:00,20,65,,,,x")[1], "20")

    def test_a_line_number_counts_what_an_editor_counts(self):
        self.assertEqual(self.problem(f'a\n\n{HEADING}\n"2026-03-01 14:00",20,65\n\n2026-03-01 15:00,x,65')[0], 6)

    def test_what_is_no_file_of_a_logger(self):
        for content, sentence in (
            (b"", "The file is empty."),
            (b" \r\n ", "The file is empty."),
            (b"\x89PNG\r\n\x1a\n\x00\x00", "This is no text."),
            (b"PK\x03\x04\x14\x00\x00\x00", "This is no text."),
            (b"\xff\xfe\x00", "This is no text."),
            (b"time,temp\n2026-03-01 14:00,20", "None of the first 40 lines names"),
            (b"a\n" * 50 + HEADING.encode(), "None of the first 40 lines names"),
            (HEADING.encode(), "There are no readings below the headings."),
            (HEADING.encode() + b"\n,,\n", "There are no readings below the headings."),
            (b"x" * 200_000, "cannot be read as a table"),
            ((HEADING + '\n"' + "x" * 200_000).encode(), "cannot be read as a table"),
            (b"time,temp 1,temp 2,rh\n", "More than one column looks like a temperature"),
            (b"time,temp,rh,humidity\n", "More than one column looks like a humidity"),
            (b"start time,end time,temp,rh\n", "More than one column looks like a time"),
            (b"date,time,datetime,temp,rh\n", "More than one column looks like a time"),
        ):
            with self.subTest(content=content[:20]):
                problems = self.problems(content)
                self.assertTrue(problems)
                self.assertIn(sentence, problems[0][3])

    def test_too_much(self):
        with mock.patch.object(logger_files, "MOST_ROWS", 2):
            text = f"{HEADING}\n" + "\n".join(f"2026-03-01 14:0{n},20,65" for n in range(4))
            self.assertEqual(self.problem(text), (4, "", "", "More than 2 readings in one file. Split it."))
        with mock.patch.object(logger_files, "MOST_BYTES", 10):
            self.assertIn("larger than", self.problem(HEADING)[3])

    def test_a_hundred_thousand_lines_are_read_in_seconds(self):
        start = LATEST - timedelta(minutes=100_000)
        lines = (f"{start + timedelta(minutes=n):%Y-%m-%d %H:%M},20.{n % 10},65" for n in range(100_000))
        sheet = read("\n".join([HEADING, *lines]))
        self.assertEqual((len(sheet.rows), sheet.problems), (100_000, []))
