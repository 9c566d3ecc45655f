"""Receiving a job on one sheet."""

import uuid
from datetime import UTC, date, datetime
from decimal import Decimal

from django.http import QueryDict
from django.urls import reverse

from apps.accounts.models import Customer
from apps.accounts.queries import the_lab
from apps.core import clock
from apps.intake import queries
from apps.intake.forms import Sheet
from apps.intake.models import Job, Request
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase
from tests.intake.desk import NONSENSE, a_cloth, a_sheet, a_way, prefixed

URL = "/receiving/new/"


class ReceivePageTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.fran)

    def post(self, data=None, **sheet):
        return self.client.post(URL, data if data is not None else a_sheet(**sheet))

    def problems(self, **sheet) -> list[str]:
        """The sentences of a refused post, after looking that nothing was saved and all that was typed is kept."""
        data = a_sheet(**sheet)
        response = self.post(data)
        self.assertEqual(response.status_code, 422, "it was received")
        self.assertEqual(Job.objects.count(), 0)
        self.assert_kept(response, data)
        return [sentence for _, sentence in response.context["problems"]]

    def assert_kept(self, response, data):
        sheet = response.context["sheet"]
        for _, form in sheet.forms():
            for field in form:
                if field.html_name in data:
                    shown = {True: "on", False: ""}.get(field.value(), field.value())
                    self.assertEqual(shown, data[field.html_name])

    def test_an_empty_sheet_begins_with_now_and_three_cycles(self):
        response = self.client.get(URL)
        self.assertEqual(response.status_code, 200)
        self.assertContains(response, 'value="2026-03-02T12:00"')
        self.assertContains(response, '<option value="Quellbach Hemden">')
        self.assertContains(response, "Sample A")
        way = response.context["sheet"].blocks[0].ways[0].form
        self.assertEqual((way["cycles"].value(), way["measured_after"].value()), ("3", "1,3"))
        self.assertFalse(way["limits"].value() or way["decision_rule"].value(), "limits are never chosen in silence")

    def test_a_job_is_received_with_its_sample_and_its_way_of_testing(self):
        response = self.post()
        job = Job.objects.get()
        self.assertRedirects(response, reverse("intake:acknowledgement", args=[job.number]))
        self.assertEqual((job.customer, job.contact, job.purchase_order), (self.quellbach, "Casey", "PO 4711"))
        self.assertEqual((job.received_at.hour, job.due_on, job.received_by), (11, date(2026, 3, 20), self.fran))
        sample = job.samples.get()
        self.assertEqual((sample.code, sample.mass_gsm), (f"{job.number}-A", Decimal("120.5")))
        self.assertEqual((sample.width_mm, sample.length_mm), (1500, 2000))
        self.assertEqual(sample.places.get().place, "Shelf 4")
        request = sample.requests.get()
        self.assertEqual((request.cycles, request.measured_cycles), (3, [1, 3]))
        limits = [request.length_lower, request.length_upper, request.width_lower, request.width_upper]
        self.assertEqual(limits, [-3, 3, -3, 3])
        self.assertEqual((request.contract_review.by, request.contract_review.agreed), (self.fran, True))
        entry = TrailEntry.objects.get(kind="job.received")
        self.assertEqual((entry.actor_id, entry.facts["number"]), (self.fran.pk, job.number))
        self.assertEqual(entry.facts["earliest_finish"], "2026-03-04")

    def test_many_samples_with_many_ways_come_in_at_one_go(self):
        data = a_sheet()
        data["sample"] = ["0", "1", "7"]
        for number in (1, 7):
            data |= {f"s{number}-request": ["0", "2"], **prefixed(f"s{number}", a_cloth(description=f"cloth {number}"))}
            data |= prefixed(f"s{number}-r0", a_way()) | prefixed(
                f"s{number}-r2", a_way(cycles="1", measured_after="1")
            )
        self.post(data)
        job = Job.objects.get()
        self.assertEqual(list(job.samples.values_list("letter", flat=True)), ["A", "B", "C"])
        self.assertEqual([sample.requests.count() for sample in job.samples.all()], [1, 2, 2])
        self.assertEqual(list(job.samples.get(letter="C").requests.values_list("cycles", flat=True)), [3, 1])

    def test_the_same_form_sent_twice_gives_one_job(self):
        data = a_sheet(key=uuid.uuid4())
        first, second = self.post(data), self.post(data)
        self.assertEqual(first.url, second.url)
        self.assertEqual(Job.objects.count(), 1)

    def test_the_same_key_with_something_else_in_it_is_told(self):
        key = uuid.uuid4()
        self.post(a_sheet(key=key))
        response = self.post(a_sheet(key=key, job={"contact": "somebody else"}))
        self.assertEqual(response.status_code, 422)
        self.assertContains(response, "already sent with other content", status_code=422)
        self.assertEqual(Job.objects.count(), 1)

    # The customer

    def test_an_unknown_customer_is_asked_about_beside_the_field(self):
        (sentence,) = self.problems(job={"customer": "Quellbach Hosen"})
        self.assertIn("No customer has this name. Similar: Quellbach Hemden.", sentence)
        self.assertIn("tick “This is a new customer”", sentence)

    def test_a_name_is_found_however_its_capitals_are_typed(self):
        self.post(job={"customer": "  quellbach   HEMDEN "})
        self.assertEqual(Job.objects.get().customer, self.quellbach)

    def test_a_new_customer_comes_in_with_the_first_job(self):
        new = {"customer": "Neuweber GmbH", "new_customer": "on", "new_address": "Webergasse 1\r\n1234 Dorf"}
        data = a_sheet(job={**new, "new_contact": "Nora", "new_email": "nora@example.com"})
        self.post(data)
        self.post(data)
        customer = Customer.objects.get(name="Neuweber GmbH")
        self.assertEqual((customer.contact, customer.email), ("Nora", "nora@example.com"))
        self.assertEqual(customer.address, "Webergasse 1\n1234 Dorf")
        self.assertEqual(Job.objects.get().customer, customer)
        self.assertTrue(TrailEntry.objects.filter(kind="customer.created", actor_id=self.fran.pk).exists())

    def test_a_new_customer_of_a_known_name_is_refused_and_no_job_is_left(self):
        (sentence,) = self.problems(job={"customer": "quellbach hemden", "new_customer": "on"})
        self.assertTrue(sentence.startswith("Job, Customer:"), sentence)

    # Dates

    def test_a_due_date_before_the_earliest_finish_asks_for_a_second_look(self):
        """Monday noon: conditioned by 18:00, read on Tuesday, cycle 1 read at 16:00, cycle 3 on Wednesday at 17:00."""
        (sentence,) = self.problems(job={"due_on": "2026-03-03"})
        self.assertIn("The earliest possible finish is Wed 4 Mar 2026.", sentence)
        response = self.post(job={"due_on": "2026-03-03"})
        self.assertContains(response, "Promise it all the same", status_code=422)
        self.post(job={"due_on": "2026-03-03", "promise_anyway": "on"})
        self.assertEqual(Job.objects.get().due_on, date(2026, 3, 3))
        self.assertEqual(TrailEntry.objects.get(kind="job.received").facts["earliest_finish"], "2026-03-04")

    def test_the_tick_is_not_shown_before_it_is_asked(self):
        self.assertNotContains(self.client.get(URL), "Promise it all the same")

    def test_dates_that_cannot_be(self):
        for job, sentence in [
            ({"received_at": "2026-03-02T12:30"}, "timed in the future"),
            ({"received_at": "1026-03-02T12:00"}, "Check the year"),
            ({"received_at": "0001-01-01T00:00"}, "Check the year"),
            ({"received_at": "9999-12-31T23:59"}, "timed in the future"),
            ({"due_on": "2026-03-01"}, "before the day of receipt"),
            ({"due_on": "9999-12-31"}, "Check the year"),
            ({"due_on": "2026-02-30"}, "valid date"),
        ]:
            with self.subTest(job=job):
                self.assertIn(sentence, self.problems(job=job)[0])

    def test_the_year_of_the_number_is_the_year_on_the_lab_s_clock(self):
        with clock.set_to(datetime(2026, 12, 31, 23, 30, tzinfo=UTC)), self.settings(TIME_ZONE="Europe/Vienna"):
            self.post(job={"received_at": "2026-12-31T20:00", "due_on": ""})
        self.assertTrue(Job.objects.get().number.startswith("27-00001"))

    # The cloth

    def test_sizes_may_be_unknown_and_in_any_unit(self):
        for cloth, width in [
            ({"width": "", "length": ""}, None),
            ({"width": "1500", "unit": "mm"}, Decimal(1500)),
            ({"width": "59 1/16", "unit": "in"}, Decimal("1500.2")),
            ({"width": "150,5", "unit": "cm"}, Decimal(1505)),
        ]:
            with self.subTest(cloth=cloth):
                self.post(cloth=cloth)
                self.assertEqual(Job.objects.latest("pk").samples.get().width_mm, width)

    def test_cloth_that_cannot_be(self):
        for cloth, sentence in [
            ({"description": ""}, "Description: "),
            ({"construction": ""}, "Construction: "),
            ({"construction": "mixed"}, "only a garment can be both"),
            ({"kind": "animal"}, "It is: "),
            ({"width": "1,500", "unit": "mm"}, "two ways"),
            ({"width": "0"}, "more than zero"),
            ({"width": "0.001", "unit": "mm"}, "less than a tenth of a millimetre"),
            ({"width": "20", "unit": "ell"}, "In: "),
            ({"mass_gsm": "0"}, "Above zero"),
            ({"mass_gsm": "120.25"}, "At most 1 decimal"),
            ({"mass_gsm": "99999"}, "below 10000"),
        ]:
            with self.subTest(cloth=cloth):
                self.assertIn(sentence, " ".join(self.problems(cloth=cloth)))

    def test_a_garment_is_tested_by_a_method_for_garments(self):
        (sentence,) = self.problems(cloth={"kind": "garment", "construction": "mixed"})
        self.assertIn("is a method for a fabric, not for a garment", sentence)
        garment = str(TestMethod.objects.get(code="aatcc-tm150-2018").pk)
        self.post(cloth={"kind": "garment", "construction": "mixed", "size": "M"}, way={"method": garment})
        self.assertEqual(Job.objects.get().samples.get().size, "M")

    # The way of testing

    def test_limits_are_never_agreed_in_silence(self):
        none = dict.fromkeys(("length_lower", "length_upper", "width_lower", "width_upper"), "")
        for way, sentence in [
            ({"limits": ""}, "Say whether limits are agreed."),
            ({"limits": "none"}, "Limits are typed below."),
            ({"limits": "these", **none}, "Type at least one limit"),
            ({"decision_rule": ""}, "by which rule"),
            ({"decision_rule": "loose"}, "Decision rule: "),
        ]:
            with self.subTest(way=way):
                self.assertIn(sentence, " ".join(self.problems(way=way)))
        self.post(way={"limits": "none", **none, "decision_rule": ""})
        self.assertFalse(Request.objects.get().has_limits)

    def test_a_limit_typed_without_its_minus_is_asked_about(self):
        (sentence,) = self.problems(way={"length_lower": "3", "length_upper": "5"})
        self.assertIn("Is 3 meant as −3?", sentence)
        (sentence,) = self.problems(way={"width_lower": "", "width_upper": "-3"})
        self.assertIn("means it must shrink by 3 % at least", sentence)
        self.post(way={"length_lower": "3", "length_upper": "5", "limits_as_typed": "on"})
        self.assertEqual(Request.objects.get().length_lower, 3)

    def test_a_limit_between_two_figures_that_can_be_reported_is_asked_about(self):
        iso = {
            "method": str(TestMethod.objects.get(code="iso-5077-2007-6330-2012").pk),
            "procedure": self.key_of("iso-6330-2012-4n"),
            "drying": self.key_of_drying("iso-6330-2012-a"),
            "length_lower": "-2.8",
        }
        (sentence,) = self.problems(way=iso)
        self.assertIn("Length, lower (%): Results are reported to the nearest 0.5 %", sentence)
        self.post(way={**iso, "limits_as_typed": "on"})
        self.assertEqual(Request.objects.get().length_lower, Decimal("-2.8"))

    def test_all_that_is_wrong_is_told_at_once(self):
        told = self.problems(
            job={"customer": ""},
            cloth={"description": "", "construction": "mixed", "mass_gsm": "heavy"},
            way={
                "method": "",
                "cycles": "2",
                "length_lower": "4",
                "length_upper": "3",
                "limits_as_typed": "on",
                "agreed": "",
            },
        )
        for sentence in (
            *("Job, Customer", "Description", "only a garment can be both", "Mass per area", "Method of test"),
            *("Measured after cycles between 1 and 2", "below the upper one", "say what is still open"),
        ):
            self.assertTrue(any(sentence in one for one in told), sentence)
        self.assertEqual(len(told), 8)

    def test_ways_that_cannot_be(self):
        iso = {
            "procedure": self.key_of("iso-6330-2012-4n"),
        }
        for way, sentence in [
            (iso, "This laundering procedure is of ISO 6330, the method of AATCC LP1."),
            ({"drying": self.key_of_drying("aatcc-m6-a-i")}, "This drying is of AATCC M6"),
            ({"method": "987654321"}, "Method of test"),
            ({"method": ""}, "Method of test"),
            ({"cycles": "0"}, "Between 1 and 50 cycles."),
            ({"cycles": "51", "measured_after": "51"}, "Between 1 and 50 cycles."),
            ({"cycles": "2"}, "Measured after cycles between 1 and 2."),
            ({"measured_after": "1"}, "name cycle 3 too"),
            ({"measured_after": "one"}, "such as 1,3"),
            ({"length_lower": "-100"}, "A limit is a change in percent"),
            ({"length_lower": "4", "length_upper": "3", "limits_as_typed": "on"}, "below the upper one"),
            ({"can_do": ""}, "say what is still open"),
        ]:
            with self.subTest(way=way):
                self.assertIn(sentence, " ".join(self.problems(way=way)))

    def test_fifty_cycles_all_measured(self):
        self.post(way={"cycles": "50", "measured_after": " ".join(map(str, range(1, 51)))}, job={"due_on": ""})
        self.assertEqual(Request.objects.get().measured_cycles, list(range(1, 51)))

    def key_of(self, code: str) -> str:
        return str(LaunderingProcedure.objects.get(code=code).pk)

    def key_of_drying(self, code: str) -> str:
        return str(DryingProcedure.objects.get(code=code).pk)

    def test_what_is_open_in_the_contract_is_said(self):
        self.post(way={"agreed": "", "remark": "waits for the customer"})
        review = Request.objects.get().contract_review
        self.assertEqual((review.agreed, review.remark), (False, "waits for the customer"))


class SheetButtonTests(LabTestCase):
    """The buttons post the sheet and give it back; nothing is saved and nothing typed is lost."""

    def setUp(self):
        self.sign_in(self.fran)

    def press(self, do: str, data=None):
        response = self.client.post(URL, {**(data or a_sheet()), "do": do})
        self.assertEqual(Job.objects.count(), 0)
        self.assertEqual(response.status_code, 200)
        return response.context["sheet"]

    def test_a_new_sample_begins_with_the_ways_of_the_one_before(self):
        sheet = self.press("add-sample")
        self.assertEqual([block.letter for block in sheet.blocks], ["A", "B"])
        first, second = sheet.blocks
        self.assertEqual(first.form["description"].value(), "shirting, invented")
        self.assertEqual(second.form["description"].value(), "")
        self.assertEqual(second.form["kind"].value(), "fabric")
        way = second.ways[0].form
        for name in ("method", "procedure", "drying", "length_lower", "limits", "decision_rule", "agreed"):
            self.assertEqual(way[name].value(), first.ways[0].form[name].value())
        self.assertFalse(way["enough_cloth"].value(), "whether there is enough of this cloth is looked at anew")
        self.assertEqual(sheet.problems(), [])

    def test_a_way_more_and_a_way_less(self):
        sheet = self.press("add-way:0")
        self.assertEqual([way.number for way in sheet.blocks[0].ways], [0, 1])
        self.assertEqual(sheet.blocks[0].ways[1].form["cycles"].value(), "3")
        data = {**a_sheet(), "s0-request": ["0", "1"], **prefixed("s0-r1", a_way(cycles="5"))}
        sheet = self.press("remove:0:0", data)
        self.assertEqual([way.form["cycles"].value() for way in sheet.blocks[0].ways], ["5"])

    def test_a_sample_less(self):
        data = {**a_sheet(), "sample": ["0", "1"], "s1-request": ["0"]}
        data |= prefixed("s1", a_cloth(description="the second")) | prefixed("s1-r0", a_way())
        sheet = self.press("remove:0", data)
        self.assertEqual([block.form["description"].value() for block in sheet.blocks], ["the second"])
        self.assertEqual(sheet.blocks[0].letter, "A")

    def test_the_last_sample_and_the_last_way_stay(self):
        self.assertEqual(len(self.press("remove:0").blocks), 1)
        self.assertEqual(len(self.press("remove:0:0").blocks[0].ways), 1)

    def test_buttons_that_are_none(self):
        for do in (
            "remove",
            "remove:",
            "remove:x",
            "remove:9",
            "remove:0:9",
            "add-way",
            "add-way:9",
            "explode",
            "x" * 9999,
        ):
            with self.subTest(do=do[:20]):
                self.assertEqual(len(self.press(do).blocks), 1)

    def test_half_typed_is_kept_without_fault_found(self):
        data = a_sheet(cloth={"description": "", "width": "wide"}, job={"customer": "?", "received_at": "yesterday"})
        sheet = self.press("add-sample", data)
        self.assertEqual(sheet.problems(), [])
        self.assertEqual(sheet.blocks[0].form["width"].value(), "wide")
        self.assertEqual(sheet.job["received_at"].value(), "yesterday")

    def test_the_earliest_finish_is_shown_with_its_sources(self):
        response = self.client.post(URL, a_sheet(do="look"))
        self.assertContains(response, "Wednesday")
        self.assertContains(response, "6 h, cotton")
        self.assertContains(response, "common practice, no source")
        unknown = self.client.post(URL, a_sheet(do="look", cloth={"fibre": ""}))
        self.assertContains(unknown, "8 h, fibre not known: the longest time")

    def test_a_page_that_is_full_says_so(self):
        data = a_sheet()
        data["sample"] = [str(number) for number in range(100)]
        response = self.client.post(URL, {**data, "do": "add-sample"})
        self.assertContains(response, "This page is full", status_code=422)


class SheetBadInputTests(LabTestCase):
    """Every field of the sheet with everything that does not belong there: a sentence or a job, never a 500."""

    def setUp(self):
        self.sign_in(self.fran)

    FIELDS = [
        "job-new_address",
        "job-new_contact",
        "job-new_email",
        "s0-size",
        "s0-care_label",
        "s0-fault",
        "s0-r0-remark",
    ]

    def test_every_field_with_every_nonsense(self):
        """Read by the forms alone: whole or with a sentence, whatever comes."""
        catalogue, lab, good = queries.catalogue(), the_lab(), a_sheet()
        for name in [*self.FIELDS, *(name for name in good if name.startswith(("job-", "s0-")))]:
            for what, text in NONSENSE.items():
                data = QueryDict(mutable=True)
                for field, value in {**good, name: text}.items():
                    data.setlist(field, value if isinstance(value, list) else [value])
                with self.subTest(field=name, what=what):
                    sheet = Sheet(data, catalogue=catalogue, lab=lab, now=NOON)
                    if sheet.is_complete():
                        self.assertTrue(sheet.samples() and sheet.job_details())
                    else:
                        self.assertTrue(sheet.problems())

    def test_all_fields_with_nonsense_at_once(self):
        names = [name for name in a_sheet() if name.startswith(("job-", "s0-")) and name != "s0-request"]
        for what, text in NONSENSE.items():
            with self.subTest(what=what):
                response = self.client.post(URL, {**a_sheet(), **dict.fromkeys([*names, *self.FIELDS], text)})
                self.assertEqual(response.status_code, 422)
                self.assertContains(response, "Not saved yet", status_code=422)
        self.assertEqual(Job.objects.count(), 0)

    def test_nonsense_that_is_taken_is_taken_whole(self):
        """What a text field takes, the database takes: posted one by one."""
        for name in ("job-purchase_order", "s0-fibre", "s0-colour", "s0-care_label", "s0-r0-limits_source"):
            for what in ("emoji", "markup", "quote", "arabic digits"):
                with self.subTest(name=name, what=what):
                    response = self.client.post(URL, {**a_sheet(), name: NONSENSE[what]})
                    self.assertEqual(response.status_code, 302)

    def test_what_is_too_long_or_unprintable_is_named_beside_its_field(self):
        for name, text in [
            ("job-contact", NONSENSE["long"]),
            ("job-notes", "x" * 2001),
            ("job-contact", NONSENSE["nul"]),
            ("s0-description", NONSENSE["control"]),
            ("s0-fault", NONSENSE["nul"]),
            ("s0-r0-limits_source", NONSENSE["long"]),
        ]:
            with self.subTest(name=name):
                response = self.client.post(URL, {**a_sheet(), name: text})
                self.assertEqual(response.status_code, 422)
                ((address, _),) = response.context["problems"]
                self.assertEqual(address, f"#id_{name}")

    def test_emoji_markup_and_quotes_are_kept_as_they_are(self):
        for what in ("emoji", "markup", "quote"):
            self.client.post(URL, {**a_sheet(), "s0-description": NONSENSE[what]})
            sample = Job.objects.latest("pk").samples.get()
            self.assertEqual(sample.description, NONSENSE[what])
            page = self.client.get(reverse("intake:sample", args=[sample.code]))
            self.assertNotContains(page, "<script>alert")

    def test_posts_without_their_management_data(self):
        whole = a_sheet()
        for missing in (["sample"], ["s0-request"], list(whole), ["key"], ["do"]):
            data = {name: value for name, value in whole.items() if name not in missing}
            with self.subTest(missing=missing[:2]):
                response = self.client.post(URL, data)
                self.assertIn(response.status_code, (302, 422))
                if missing in (["key"], ["do"]):
                    self.assertEqual(response.status_code, 302)

    def test_each_field_may_be_missing(self):
        whole = a_sheet()
        for name in whole:
            data = {other: value for other, value in whole.items() if other != name}
            with self.subTest(missing=name):
                self.assertIn(self.client.post(URL, {**data, "key": str(uuid.uuid4())}).status_code, (302, 422))

    def test_tampered_lists_of_samples(self):
        for samples in (["x"], ["-1"], ["1e3"], ["99999999999"], ["0", "0"], ["٣"], [""], ["0"] * 2000):
            with self.subTest(samples=samples[:3]):
                response = self.client.post(URL, {**a_sheet(), "sample": samples})
                self.assertIn(response.status_code, (302, 422))
        for ways in (["x"], ["0", "0"], [str(number) for number in range(500)]):
            with self.subTest(ways=ways[:3]):
                response = self.client.post(URL, {**a_sheet(), "s0-request": ways})
                self.assertIn(response.status_code, (302, 422))

    def test_keys_that_are_none(self):
        for key in ("", "x", "0" * 10_000, "\x00"):
            with self.subTest(key=key[:5]):
                self.assertEqual(self.client.post(URL, {**a_sheet(), "key": key}).status_code, 302)


class WhoReceivesTests(LabTestCase):
    def test_front_desk_and_manager(self):
        may = {"nobody": 302, "fran": 200, "mara": 200}
        for name in ("nobody", "fran", "bea", "lou", "mara", "casey", "dana"):
            self.sign_in(getattr(self, name, None))
            with self.subTest(name=name):
                self.assertEqual(self.client.get(URL).status_code, may.get(name, 403))
                if name not in may:
                    self.assertEqual(self.client.post(URL, a_sheet()).status_code, 403)
        self.assertEqual(Job.objects.count(), 0)
