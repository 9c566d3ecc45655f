"""The list, the page of a machine, and its forms."""

import uuid
from datetime import date

from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from apps.equipment import services
from apps.equipment.models import Calibration, Equipment, OutOfService
from apps.trail.models import TrailEntry
from tests.cast import NOON, a_calibration
from tests.equipment.support import DAY, HOUR, EquipmentCase, a_logger, a_piece, a_room, logged

LIST, NEW = "/equipment/", "/equipment/new/"
GOOD = {
    "name": "Washer 3",
    "kind": "washer",
    "maker": "Invented Works 500",
    "serial_number": "IW-0042",
    "firmware": "2.1",
    "location": "Laundry",
    "interval_months": "12",
    "overdue_rule": "refuse",
    "acceptance": "40 ± 3 °C",
    "notes": "needs the long hose",
}
LONG = "x" * 10_000


class PageCase(EquipmentCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.washer = cls.washers[0]
        cls.page = f"/equipment/{cls.washer.pk}/"
        cls.change, cls.calibrate = f"{cls.page}change/", f"{cls.page}calibrate/"
        cls.out, cls.back = f"{cls.page}out-of-service/", f"{cls.page}return/"

    def setUp(self):
        self.sign_in(self.mara)

    def post(self, address: str, **data):
        return self.client.post(address, {"key": str(uuid.uuid4()), **data})

    def as_it_is(self, **changes) -> dict:
        washer = Equipment.objects.get(pk=self.washer.pk)
        shown = {name: getattr(washer, name) for name in GOOD if name != "kind"}
        shown["interval_months"] = shown["interval_months"] or ""
        return {**shown, "version": washer.version, **changes}

    def assert_sentence(self, page, field: str, sentence: str, kept: dict, form: str = "form"):
        """Bad input: a sentence beside the field, the rest kept."""
        self.assertEqual(page.status_code, 200)
        bound = page.context[form]
        self.assertIn(sentence, " ".join(bound.errors.get(field, [])))
        for name, value in kept.items():
            if name != field:
                self.assertEqual(bound[name].value(), value)
        self.assertContains(page, 'class="error"')


class AddressTests(PageCase):
    def test_names(self):
        pk = self.washer.pk
        for name, args, address in (
            ("list", [], LIST),
            ("new", [], NEW),
            ("calendar", [], "/equipment/calendar/"),
            ("calendar_csv", [], "/equipment/calendar.csv"),
            ("page", [pk], self.page),
            ("change", [pk], self.change),
            ("calibrate", [pk], self.calibrate),
            ("out_of_service", [pk], self.out),
            ("return", [pk], self.back),
            ("atmosphere", [pk], f"{self.page}atmosphere/"),
        ):
            self.assertEqual(reverse(f"equipment:{name}", args=args), address)

    def test_who_may(self):
        staff, work, lead = {"fran", "bea", "lou", "mara"}, {"bea", "lou", "mara"}, {"mara"}
        pages = {LIST: ("get", staff), self.page: ("get", staff), NEW: ("get", lead), self.change: ("get", lead)}
        pages |= {self.calibrate: ("get", lead), self.out: ("post", work), self.back: ("post", lead)}
        for name in ("nobody", *staff, "casey", "dana"):
            self.sign_in(getattr(self, name, None))
            for address, (verb, may) in pages.items():
                with self.subTest(name=name, address=address):
                    status = getattr(self.client, verb)(address).status_code
                    self.assertEqual(status, 302 if name == "nobody" else 200 if name in may else 403)
        self.assertEqual(TrailEntry.objects.filter(stream__startswith="equipment:").count(), 0)

    def test_verbs_and_what_is_not_there(self):
        for address in (self.out, self.back):
            self.assertEqual(self.client.get(address).status_code, 405)
        for address in (LIST, self.page):
            self.assertEqual(self.client.post(address).status_code, 405)
        for number in (0, 987654321, 10**30):
            for end in ("out-of-service/", "return/", "change/", "calibrate/"):
                self.assertEqual(self.post(f"/equipment/{number}/{end}", reason="x").status_code, 404)
            self.assertEqual(self.client.get(f"/equipment/{number}/").status_code, 404)


class ListTests(PageCase):
    def test_shows_state_what_is_overdue_and_the_air(self):
        services.put_out_of_service(equipment_id=self.washer.pk, reason="door seal leaks", by=self.lou, at=NOON)
        a_calibration(self, self.dryers[0], due_on=date(2026, 3, 1))
        a_calibration(self, self.dryers[1], due_on=date(2026, 3, 2))
        a_calibration(self, self.washers[1], usable=False)
        a_piece(self, "balance", "Balance 1", interval_months=12)
        room, other = a_room(self), a_room(self, "Room 2")
        logged(self, room, "23.4", "64")
        page = self.client.get(LIST)
        for words in ("door seal leaks", "out of service", "not fit for use", "never recorded", self.page):
            self.assertContains(page, words)
        self.assertContains(page, ">overdue<", count=1)
        self.assertContains(page, "23.4 °C, 64.0 % RH")
        self.assertContains(page, "outside the tolerance")
        self.assertContains(page, "Not read yet.")
        self.assertContains(page, f"/equipment/{other.pk}/atmosphere/")

    def test_others_see_no_way_to_add(self):
        self.sign_in(self.lou)
        page = self.client.get(LIST)
        self.assertContains(page, self.page)
        self.assertNotContains(page, NEW)

    def test_does_not_grow(self):
        for rows, rooms in ((4, 1), (24, 21)):
            for n in range(Equipment.objects.filter(kind="room").count(), rooms):
                logged(self, a_room(self, f"Room {n}"))
            Equipment.objects.bulk_create(
                Equipment(name=f"R{n}", kind="rule")
                for n in range(rows - Equipment.objects.exclude(kind="room").count())
            )
            with self.assertNumQueries(8):
                page = self.client.get(LIST)
            self.assertEqual(len(page.context["page"]), rows + rooms)

    def test_in_pages_of_fifty(self):
        Equipment.objects.bulk_create(Equipment(name=f"R{n}", kind="rule") for n in range(60))
        self.assertEqual(len(self.client.get(LIST).context["page"]), 50)
        self.assertEqual(len(self.client.get(LIST, {"page": 2}).context["page"]), 14)
        for number in ("0", "-3", "NaN", "1e999", "9" * 40, "\0"):
            self.assertEqual(self.client.get(LIST, {"page": number}).status_code, 200)


# field, what is typed, a piece of the sentence beside it
BAD_DETAILS = [
    ("name", "", "This field is required"),
    ("name", "   ", "This field is required"),
    ("name", LONG, "at most 60 characters"),
    ("name", "W\0", "Null characters are not allowed"),
    ("name", "W\x1b[0m", "cannot be written down"),
    ("maker", LONG, "at most 120 characters"),
    ("maker", "a\0b", "Null characters are not allowed"),
    ("serial_number", LONG, "at most 80 characters"),
    ("firmware", LONG, "at most 80 characters"),
    ("location", LONG, "at most 120 characters"),
    ("acceptance", LONG, "at most 300 characters"),
    ("notes", LONG, "at most 1000 characters"),
    ("notes", "a\0b", "Null characters are not allowed"),
    ("interval_months", "soon", "Enter a whole number"),
    ("interval_months", "-1", "greater than or equal to 1"),
    ("interval_months", "0", "greater than or equal to 1"),
    ("interval_months", "241", "less than or equal to 240"),
    ("interval_months", "1e999", "Enter a whole number"),
    ("interval_months", "NaN", "Enter a whole number"),
    ("interval_months", "1.5", "Enter a whole number"),
    ("interval_months", "🧵", "Enter a whole number"),
    ("interval_months", "9" * 40, "less than or equal to 240"),
    ("overdue_rule", "", "This field is required"),
    ("overdue_rule", "perhaps", "Select a valid choice"),
    ("overdue_rule", "refuse\0", "Select a valid choice"),
]


class NewPageTests(PageCase):
    def test_works(self):
        self.assertContains(self.client.get(NEW), "Add equipment")
        answer = self.post(NEW, **GOOD)
        washer = Equipment.objects.get(name="Washer 3")
        self.assertRedirects(answer, f"/equipment/{washer.pk}/")
        self.assertEqual((washer.serial_number, washer.interval_months, washer.firmware), ("IW-0042", 12, "2.1"))
        self.assertEqual(TrailEntry.objects.get(stream=washer.stream).actor_name, "Mara Manager")

    def test_only_name_and_kind_are_asked_for(self):
        self.assertEqual(self.client.get(NEW).context["form"]["overdue_rule"].value(), "disclose")
        for kind in Equipment.Kind.values:
            name = f"{kind} 🧵"
            self.assertEqual(self.post(NEW, name=name, kind=kind, overdue_rule="disclose").status_code, 302)
            self.assertTrue(Equipment.objects.filter(name=name, kind=kind).exists())

    def test_bad_input(self):
        cases = [
            *BAD_DETAILS,
            ("kind", "", "This field is required"),
            ("kind", "spaceship", "Select a valid choice"),
            ("kind", LONG, "Select a valid choice"),
            ("kind", "washer\0", "Select a valid choice"),
            ("name", "w1", "There is a washer named W1 already"),
        ]
        for field, typed, sentence in cases:
            with self.subTest(field=field, typed=typed[:20]):
                self.assert_sentence(self.post(NEW, **{**GOOD, field: typed}), field, sentence, GOOD)
        self.assertEqual(Equipment.objects.count(), 4)

    def test_a_tampered_page(self):
        for key in ("", "x", "\0", LONG, "1e999"):
            with self.subTest(key=key[:10]):
                self.assertEqual(self.client.post(NEW, {"key": key}).status_code, 200)
        self.assertContains(self.client.post(NEW, {}), "This field is required")
        self.assertContains(self.client.post(self.change, {}), "This field is required")
        self.assertEqual(Equipment.objects.count(), 4)

    def test_a_double_click_adds_one(self):
        key = str(uuid.uuid4())
        for _ in range(2):
            self.assertEqual(self.post(NEW, **{**GOOD, "key": key}).status_code, 302)
        page = self.post(NEW, **{**GOOD, "key": key, "name": "Washer 4"})
        self.assertContains(page, "already sent with other content")
        self.assertEqual(Equipment.objects.count(), 5)


class ChangePageTests(PageCase):
    def test_works(self):
        self.assertContains(self.client.get(self.change), 'value="W1"')
        page = self.post(self.change, **self.as_it_is(location="Hall 2", interval_months="6"))
        self.assertRedirects(page, self.page)
        told = "calibrated or verified every (months): nothing to 6; where it stands: nothing to Hall 2"
        self.assertContains(self.client.get(self.page), told)

    def test_the_kind_stays_whatever_is_sent(self):
        self.post(self.change, **self.as_it_is(kind="dryer", location="Hall 2"))
        washer = Equipment.objects.get(pk=self.washer.pk)
        self.assertEqual((washer.kind, washer.location), ("washer", "Hall 2"))

    def test_bad_input(self):
        kept = {"maker": "Invented Works", "serial_number": "7", "location": "Hall 2", "notes": "long hose"}
        for field, typed, sentence in [*BAD_DETAILS, ("name", "w2", "There is a washer named W2 already")]:
            with self.subTest(field=field, typed=typed[:20]):
                page = self.post(self.change, **{**self.as_it_is(**kept), field: typed})
                self.assert_sentence(page, field, sentence, kept)
                self.assertContains(page, 'name="version" value="1"')
        self.assertEqual(Equipment.objects.get(pk=self.washer.pk).version, 1)

    def test_a_stale_page_is_told_and_may_be_sent_again(self):
        old = self.as_it_is(location="Hall 3")
        self.post(self.change, **self.as_it_is(location="Hall 2"))
        page = self.post(self.change, **old)
        self.assertContains(page, "W1 was changed after this page was opened. It now says where it stands: Hall 2.")
        self.assertEqual(page.context["form"]["location"].value(), "Hall 3")
        self.assertContains(page, 'name="version" value="2"')
        self.assertRedirects(self.post(self.change, **{**old, "version": 2}), self.page)
        self.assertEqual(Equipment.objects.get(pk=self.washer.pk).location, "Hall 3")

    def test_a_tampered_version_is_stale(self):
        for version in ("", "abc", "-1", "1.0", "1e999", "NaN", "9" * 50, "\0", "🧵", "²", "١"):
            with self.subTest(version=version[:10]):
                page = self.post(self.change, **self.as_it_is(location="Hall 2", version=version))
                self.assertContains(page, "changed after this page was opened")


class MachinePageTests(PageCase):
    def test_tells_what_is_known(self):
        piece = a_logger(self, interval_months=12, acceptance="± 0.5 °C", notes="spare battery in the drawer")
        page = self.client.get(f"/equipment/{piece.pk}/")
        self.assertContains(page, "no calibration recorded")
        self.assertContains(page, "None is recorded.")
        old = a_calibration(self, piece, as_found="+0.2 °C", certificate="C-1")
        services.void_calibration(calibration_id=old.pk, reason="another logger's", by=self.mara, at=NOON)
        a_calibration(self, piece, done_on=date(2025, 3, 1), as_found="+0.9 °C", as_left="+0.1 °C", certificate="C-2")
        logged(self, a_room(self), instrument_id=piece.pk)
        page = self.client.get(f"/equipment/{piece.pk}/")
        for words in ("another logger&#x27;s", "C-2", "+0.1 °C", "calibration overdue", "spare battery", "the air of"):
            self.assertContains(page, words)
        self.assertContains(self.client.get(self.page), "/laundry/logbook/")

    def test_shows_each_only_what_he_may_do(self):
        row = a_calibration(self, self.washer)
        for name, may in {"fran": "", "bea": "out", "lou": "out", "mara": "out change calibrate void"}.items():
            self.sign_in(getattr(self, name))
            page = self.client.get(self.page)
            links = {"out": self.out, "change": self.change, "calibrate": self.calibrate}
            links["void"] = f"/equipment/calibrations/{row.pk}/void/"
            for word, address in links.items():
                (self.assertContains if word in may.split() else self.assertNotContains)(page, address)

    def test_does_not_grow_with_its_history(self):
        counts = []
        for count in (2, 22):
            for n in range(count):
                services.put_out_of_service(equipment_id=self.washer.pk, reason=f"{n}", by=self.lou, at=NOON)
                services.return_to_service(equipment_id=self.washer.pk, by=self.mara, at=NOON)
                a_calibration(self, self.washer)
            with CaptureQueriesContext(connection) as seen:
                page = self.client.get(self.page)
            counts.append(len(seen))
        self.assertEqual(counts[0], counts[1])
        self.assertLessEqual(counts[0], 11)
        self.assertEqual((len(page.context["entries"]), len(page.context["whole"].calibrations)), (50, 24))

    def test_of_long_lists_the_newest_fifty(self):
        for _ in range(55):
            a_calibration(self, self.washer)
        self.assertEqual(len(self.client.get(self.page).context["whole"].calibrations), 50)


class ServicePageTests(PageCase):
    def test_out_at_night_by_the_laundry_and_back_by_the_manager(self):
        self.sign_in(self.lou)
        self.assertRedirects(self.post(self.out, reason="door seal leaks", when="2026-03-02T10:30"), self.page)
        page = self.client.get(self.page)
        self.assertContains(page, "Out of service because: door seal leaks")
        self.assertContains(page, "The lab manager returns it to service.")
        self.assertNotContains(page, self.out)
        self.assertEqual(self.post(self.back, checked="ran dry").status_code, 403)
        period = OutOfService.objects.get()
        self.assertEqual((period.since, period.by), (NOON - 1.5 * HOUR, self.lou))
        self.sign_in(self.mara)
        self.assertRedirects(self.post(self.back, checked="new seal, ran dry", period=period.pk), self.page)
        page = self.client.get(self.page)
        self.assertContains(page, "new seal, ran dry")
        self.assertNotContains(page, "Out of service because")

    def test_bad_reasons_and_times(self):
        self.sign_in(self.bea)
        for field, typed, sentence in (
            ("reason", "", "This field is required"),
            ("reason", "  ", "This field is required"),
            ("reason", LONG, "at most 200 characters"),
            ("reason", "a\0", "Null characters are not allowed"),
            ("when", "soon", "A date and a time"),
            ("when", "9999-12-31T23:59", "future"),
            ("when", "0001-01-01T00:00", "more than a year ago"),
            ("when", "2025-02-28T10:00", "more than a year ago"),
            ("when", "1e999", "A date and a time"),
            ("when", LONG, "A date and a time"),
            ("when", "2026-03-02T13:00", "future"),
        ):
            with self.subTest(typed=typed[:10]):
                data = {"reason": "leaks", "when": "", field: typed}
                page = self.post(self.out, **data)
                self.assert_sentence(page, field, sentence, {"reason": "leaks"}, form="service_form")
        self.assertEqual(self.client.post(self.out, {}).status_code, 200)
        self.assertFalse(OutOfService.objects.exists())

    def test_out_twice_is_told(self):
        self.post(self.out, reason="door seal leaks")
        page = self.post(self.out, reason="something else")
        self.assertContains(page, "W1 is out of service already: door seal leaks")

    def test_return_of_a_stale_or_tampered_page(self):
        self.assertContains(self.post(self.back, period=1), "W1 is in service already")
        self.post(self.out, reason="door seal leaks")
        period = OutOfService.objects.get().pk
        for shown in (period + 1, "", "x", "\0", LONG):
            page = self.post(self.back, period=shown, checked="new seal")
            self.assertContains(page, "was changed meanwhile")
            self.assertContains(page, "new seal")
        self.assertContains(self.post(self.back, period=period, checked=LONG), "at most 200 characters")
        self.assertTrue(OutOfService.objects.filter(until=None).exists())


class CalibrationPageTests(PageCase):
    GOOD = {
        "done_on": "2026-02-27",
        "due_on": "2027-02-27",
        "done_by": "Invented Metrology",
        "certificate": "C-7",
        "as_found": "39.2 °C at 40 °C",
        "as_left": "40.0 °C",
        "usable": "yes",
        "note": "heater adjusted",
    }

    def test_works(self):
        page = self.client.get(self.calibrate)
        self.assertEqual(page.context["form"]["done_on"].value(), NOON.date())
        self.assertRedirects(self.post(self.calibrate, **self.GOOD), self.page)
        row = Calibration.objects.get()
        self.assertEqual((row.due_on, row.usable, row.by), (date(2027, 2, 27), True, self.mara))
        self.assertContains(self.client.get(self.page), "39.2 °C at 40 °C")

    def test_without_a_due_day_the_interval_decides(self):
        rule = a_piece(self, "rule", "Rule 1", interval_months=1)
        address = f"/equipment/{rule.pk}/calibrate/"
        self.assertContains(self.client.get(address), "Empty: 1 month later.")
        self.post(address, **{**self.GOOD, "due_on": "", "usable": "no"})
        row = Calibration.objects.get()
        self.assertEqual((row.due_on, row.usable), (date(2026, 3, 27), False))
        self.assertContains(self.client.get(f"/equipment/{rule.pk}/"), "not fit for use")

    def test_bad_input(self):
        for field, typed, sentence in (
            ("done_on", "", "This field is required"),
            ("done_on", "2026-03-03", "This day has not come yet"),
            ("done_on", "0001-01-01", "more than 20 years ago"),
            ("done_on", "2026-02-30", "Enter a valid date"),
            ("done_on", "1e999", "Enter a valid date"),
            ("due_on", "2026-02-27", "due after this one was done"),
            ("due_on", "9999-12-31", "more than 20 years away"),
            ("due_on", "NaN", "Enter a valid date"),
            ("due_on", "2\0", "Enter a valid date"),
            ("certificate", LONG, "at most 80 characters"),
            ("as_found", "", "This field is required"),
            ("as_found", LONG, "at most 300 characters"),
            ("as_left", "a\0", "Null characters are not allowed"),
            ("usable", "", "Say whether it is fit for use"),
            ("usable", "perhaps", "Say whether it is fit for use"),
            ("note", LONG, "at most 500 characters"),
        ):
            with self.subTest(field=field, typed=typed[:12]):
                page = self.post(self.calibrate, **{**self.GOOD, field: typed})
                self.assert_sentence(page, field, sentence, self.GOOD)
        self.assertContains(self.client.post(self.calibrate, {}), "This field is required")
        self.assertFalse(Calibration.objects.exists())

    def test_a_double_click_records_one(self):
        key = str(uuid.uuid4())
        for _ in range(2):
            self.assertEqual(self.post(self.calibrate, **{**self.GOOD, "key": key}).status_code, 302)
        self.assertEqual(Calibration.objects.count(), 1)

    def test_void_by_reason(self):
        row = a_calibration(self, self.washer, done_on=NOON.date() - DAY)
        address = f"/equipment/calibrations/{row.pk}/void/"
        self.assertContains(self.client.get(address), "The calibration of W1 of 1 Mar 2026")
        for typed, sentence in (("", "This field is required"), (LONG, "at most 200"), ("\0", "Null characters")):
            self.assertContains(self.post(address, reason=typed), sentence)
        self.assertRedirects(self.post(address, reason="another washer's"), self.page)
        self.assertContains(self.client.get(self.page), "another washer&#x27;s (Mara Manager)")
        self.assertContains(self.post(address, reason="again"), "void already")
        for name in ("bea", "lou", "casey"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.client.get(address).status_code, 403)
        self.sign_in(self.mara)
        self.assertEqual(self.client.get("/equipment/calibrations/987654321/void/").status_code, 404)
