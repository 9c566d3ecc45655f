"""The sample's page with its small forms, one sample more, one way more, and the acknowledgement."""

import uuid
from decimal import Decimal

from django.urls import reverse

from apps.intake import services
from apps.intake.models import Deviation, Request, Sample, Specimen
from apps.intake.queries import cautions
from apps.intake.services import ReviewDetails, SampleDetails
from tests.cast import NOON, LabTestCase, a_received_job, a_request_for
from tests.intake.desk import NONSENSE, a_cloth, a_way, prefixed
from tests.intake.issued import issued


class SampleCase(LabTestCase):
    def setUp(self):
        self.job = a_received_job(self, cycles=3, measured_after=(1, 3), length_lower=Decimal(-3))
        self.sample = self.job.samples.get()
        self.request = self.sample.requests.get()
        self.sign_in(self.fran)

    def url(self, name: str = "sample", *more) -> str:
        return reverse(f"intake:{name}", args=[self.sample.code, *more])

    def cut(self) -> list[Specimen]:
        return services.cut_specimens(request_id=self.request.pk, count=3, by=self.bea, at=NOON)


class SamplePageTests(SampleCase):
    def test_it_tells_what_it_is_and_where_it_lies(self):
        services.move_sample(sample_id=self.sample.pk, place="rack 2", by=self.bea, at=NOON)
        self.cut()
        response = self.client.get(self.url())
        for words in (
            "blue twill, invented",
            "rack 2",
            "A1",
            "A3",
            "length not below −3.0 %",
            "measured after 1 and 3",
        ):
            self.assertContains(response, words)
        self.assertContains(response, response.context["label_code"])
        self.assertContains(response, reverse("measuring:readings", args=[self.sample.code]))

    def test_cutting_is_offered_until_it_is_cut(self):
        cut = reverse("measuring:cut", args=[self.sample.code, 1])
        self.assertContains(self.client.get(self.url()), cut)
        self.cut()
        self.assertNotContains(self.client.get(self.url()), cut)

    def test_limits_between_two_figures_are_told(self):
        services.add_request(
            sample_id=self.sample.pk,
            request=a_request_for("iso-5077-2007-6330-2012", width_upper=Decimal("2.75")),
            by=self.fran,
            at=NOON,
        )
        self.assertContains(self.client.get(self.url()), "nearest 0.5 %; the upper limit of the width lies between")

    def test_an_issued_request_is_no_more_changed_from_here(self):
        change = self.url("change_request", 1)
        self.assertContains(self.client.get(self.url()), change)
        issued(self, self.request)
        page = self.client.get(self.url())
        self.assertNotContains(page, change)
        self.assertContains(page, "report issued")

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "mara"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.client.get(self.url()).status_code, 200)
        for name in ("casey", "dana"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.client.get(self.url()).status_code, 403)

    def test_what_is_not_there(self):
        for code in ("26-99999X-A", "x", self.sample.code + "1", "a%00b", "🧵", "../x"):
            with self.subTest(code=code):
                self.assertEqual(self.client.get(f"/samples/{code}/").status_code, 404)

    def test_query_counts(self):
        """Two specimens or twenty-two, one way or four."""
        self.cut()
        with self.assertNumQueries(10):
            self.client.get(self.url())
        for _ in range(3):
            row = services.add_request(sample_id=self.sample.pk, request=a_request_for(), by=self.fran, at=NOON)
            services.cut_specimens(request_id=row.pk, count=7, by=self.bea, at=NOON)
            services.deviate(job_id=self.job.pk, request_id=row.pk, kind="other", text="x", by=self.bea, at=NOON)
            services.move_sample(sample_id=self.sample.pk, place="x", by=self.bea, at=NOON)
            sent = services.send_back(request_id=row.pk, to="bench", reason="x", by=self.mara, at=NOON)
            services.answer_send_back(send_back_id=sent.pk, answer="x", by=self.bea, at=NOON)
        with self.assertNumQueries(10):
            self.client.get(self.url())


class SmallFormTests(SampleCase):
    def test_a_sample_is_moved_by_whoever_moves_it(self):
        for name in ("fran", "bea", "lou", "mara"):
            self.sign_in(getattr(self, name))
            self.client.post(self.url("move_sample"), {"move-place": f"with {name}"})
        self.assertEqual(self.sample.places.count(), 4)
        self.assertEqual(self.sample.places.first().place, "with mara")

    def test_a_deviation_is_written_by_whoever_sees_it(self):
        piece = self.cut()[0]
        self.sign_in(self.lou)
        about = {"deviation-about": f"s{piece.pk}", "deviation-kind": "wash", "deviation-deviation": "43 °C"}
        response = self.client.post(self.url("deviate"), {**about, "deviation-at_risk": "on"})
        self.assertRedirects(response, self.url())
        row = Deviation.objects.get()
        self.assertEqual((row.specimen, row.kind, row.at_risk, row.by), (piece, "wash", True, self.lou))
        self.client.post(self.url("deviate"), {**about, "deviation-about": f"r{self.request.pk}"})
        self.assertEqual(Deviation.objects.latest("pk").request, self.request)

    def test_a_deviation_about_something_else_is_refused(self):
        other = a_received_job(self).samples.get().requests.get()
        for about in (f"r{other.pk}", "r", "s", "s0", "x", "r1e5", "", f"r{'9' * 40}"):
            with self.subTest(about=about):
                data = {"deviation-about": about, "deviation-kind": "wash", "deviation-deviation": "43 °C"}
                response = self.client.post(self.url("deviate"), data)
                self.assertEqual(response.status_code, 422)
                self.assertTrue(response.context["deviate"].has_error("about"))
        self.assertFalse(Deviation.objects.exists())

    def test_an_issued_request_takes_no_deviation(self):
        issued(self, self.request)
        data = {"deviation-about": f"r{self.request.pk}", "deviation-kind": "wash", "deviation-deviation": "43 °C"}
        self.assertContains(self.client.post(self.url("deviate"), data), "An amendment opens it.", status_code=422)

    def test_a_specimen_is_set_aside_by_bench_or_manager(self):
        piece = self.cut()[0]
        data = {"aside-specimen": str(piece.pk), "aside-reason": "frayed"}
        for name in ("fran", "lou", "casey"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.client.post(self.url("set_aside"), data).status_code, 403)
        self.sign_in(self.bea)
        self.assertRedirects(self.client.post(self.url("set_aside"), data), self.url())
        piece.refresh_from_db()
        self.assertEqual(piece.stage, "set_aside")
        self.assertEqual(self.client.post(self.url("set_aside"), data).status_code, 422)

    def test_double_taps(self):
        key, piece = str(uuid.uuid4()), self.cut()[0]
        self.sign_in(self.mara)
        for _ in range(2):
            self.client.post(self.url("move_sample"), {"move-place": "rack", "key": key})
        self.assertEqual(self.sample.places.count(), 1)
        key = str(uuid.uuid4())
        data = {"deviation-about": f"s{piece.pk}", "deviation-kind": "wash", "deviation-deviation": "43 °C", "key": key}
        for _ in range(2):
            self.assertEqual(self.client.post(self.url("deviate"), data).status_code, 302)
        self.assertEqual(Deviation.objects.count(), 1)

    def test_nonsense(self):
        self.cut()
        self.sign_in(self.mara)
        for address, form, names in [
            ("move_sample", "move", ["place"]),
            ("deviate", "deviate", ["about", "kind", "deviation"]),
            ("set_aside", "aside", ["specimen", "reason"]),
        ]:
            prefix = "deviation" if form == "deviate" else form
            for what, text in NONSENSE.items():
                with self.subTest(address=address, what=what):
                    response = self.client.post(self.url(address), {f"{prefix}-{name}": text for name in names})
                    if form == "move" and text.strip() and what not in ("huge", "long", "nul", "control"):
                        self.assertEqual(response.status_code, 302)
                    else:
                        self.assertEqual(response.status_code, 422)
                        self.assertTrue(response.context[form].errors)
            self.assertEqual(self.client.post(self.url(address), {}).status_code, 422)
            self.assertEqual(self.client.get(self.url(address)).status_code, 405)


class AddedPageTests(SampleCase):
    def sheet(self, **raw) -> dict:
        fields = prefixed("s0", a_cloth(description="second, invented")) | prefixed("s0-r0", a_way())
        return {"do": "receive", "sample": "0", "s0-request": "0", **fields, **raw}

    def test_one_more_sample_begins_with_the_ways_of_the_newest(self):
        page = self.client.get(reverse("intake:add_sample", args=[self.job.number]))
        (block,) = page.context["sheet"].blocks
        self.assertEqual(block.letter, "B")
        way = block.ways[0].form
        self.assertEqual((way["length_lower"].value(), way["limits"].value()), ("−3", "these"))
        self.assertEqual((way["cycles"].value(), way["agreed"].value(), way["enough_cloth"].value()), ("3", True, None))

    def test_one_more_sample_is_added_once(self):
        url = reverse("intake:add_sample", args=[self.job.number])
        data = self.sheet(key=str(uuid.uuid4()))
        for _ in range(2):
            response = self.client.post(url, data)
            self.assertRedirects(response, reverse("intake:sample", args=[f"{self.job.number}-B"]))
        self.assertEqual(self.job.samples.count(), 2)

    def test_only_one_at_a_time_and_ways_as_many(self):
        url = reverse("intake:add_sample", args=[self.job.number])
        sheet = self.client.post(url, self.sheet(do="add-sample")).context["sheet"]
        self.assertEqual(len(sheet.blocks), 1)
        sheet = self.client.post(url, self.sheet(do="add-way:0")).context["sheet"]
        self.assertEqual(len(sheet.blocks[0].ways), 2)
        self.assertEqual(self.client.post(url, self.sheet(sample=["0", "1"])).status_code, 302)
        self.assertEqual(self.job.samples.count(), 2)

    def test_nonsense_on_the_sheet_of_one_sample(self):
        url = reverse("intake:add_sample", args=[self.job.number])
        for what, text in NONSENSE.items():
            data = {
                name: text if name.startswith("s0-") and name != "s0-request" else value
                for name, value in self.sheet().items()
            }
            with self.subTest(what=what):
                response = self.client.post(url, data)
                self.assertEqual(response.status_code, 422)
                self.assertTrue(response.context["problems"])
        self.assertEqual(self.client.post(url, {}).status_code, 422)

    def test_one_more_way(self):
        response = self.client.post(self.url("add_request"), prefixed("way", a_way(cycles="5", measured_after="1,5")))
        self.assertRedirects(response, self.url())
        row = Request.objects.get(sample=self.sample, ordinal=2)
        self.assertEqual((row.cycles, row.contract_review.by), (5, self.fran))

    def test_one_more_way_that_cannot_be(self):
        for way in ({"limits": ""}, {"length_lower": "3"}, {"method": ""}, {"cycles": "0"}):
            with self.subTest(way=way):
                response = self.client.post(self.url("add_request"), prefixed("way", a_way(**way)))
                self.assertEqual(response.status_code, 422)
        for text in NONSENSE.values():
            response = self.client.post(self.url("add_request"), prefixed("way", dict.fromkeys(a_way(), text)))
            self.assertEqual(response.status_code, 422)
        self.assertEqual(self.client.post(self.url("add_request"), {}).status_code, 422)

    def test_who_may(self):
        for name in ("bea", "lou", "casey", "dana"):
            self.sign_in(getattr(self, name))
            for url in (self.url("add_request"), reverse("intake:add_sample", args=[self.job.number])):
                self.assertEqual(self.client.get(url).status_code, 403)
                self.assertEqual(self.client.post(url, {}).status_code, 403)


class AcknowledgementTests(SampleCase):
    def page(self):
        return self.client.get(reverse("intake:acknowledgement", args=[self.job.number]))

    def test_it_says_what_came_in_and_how_it_is_tested(self):
        sample = SampleDetails(
            "polo shirt, invented",
            "mixed",
            kind="garment",
            size="M",
            fault="A battery in the pocket; two pins.",
            width_mm=Decimal("1473.2"),
            requests=(a_request_for("aatcc-tm150-2018", review=ReviewDetails(True, True, False, "waits for yes")),),
        )
        services.add_sample(job_id=self.job.pk, sample=sample, by=self.fran, at=NOON)
        page = self.page()
        for words in (
            *("Quellbach Hemden", self.job.number, "Fran Frontdesk", "no date agreed"),
            *(
                f"{self.job.number}-A",
                f"{self.job.number}-B",
                "polo shirt, invented",
                "1473.2 mm wide",
                "length not known",
            ),
            *("AATCC TM135-2018", "AATCC TM150-2018", "length not below −3.0 %", "No limits agreed"),
            *("not agreed yet", "waits for yes", "Batteries and heated parts", "Pins, needles and staples"),
        ):
            self.assertContains(page, words)

    def test_cautions_follow_from_what_is_written(self):
        def told(**sample) -> str:
            return " ".join(cautions([Sample(**{"kind": "fabric", "description": "twill", **sample})]))

        self.assertEqual(told(), "")
        self.assertIn("Garments", told(kind="garment"))
        self.assertIn("Mould", told(condition="mouldy at one end"))
        self.assertIn("Oil", told(fault="Grease, perhaps"))
        self.assertEqual(told(description="pinstripe"), "")

    def test_query_counts(self):
        with self.assertNumQueries(6):
            self.page()
        for _ in range(21):
            sample = SampleDetails("x", "woven", requests=(a_request_for(), a_request_for()))
            services.add_sample(job_id=self.job.pk, sample=sample, by=self.fran, at=NOON)
        with self.assertNumQueries(6):
            self.page()

    def test_who_may(self):
        for name in ("fran", "bea", "lou", "mara"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.page().status_code, 200)
        for name in ("casey", "dana"):
            self.sign_in(getattr(self, name))
            self.assertEqual(self.page().status_code, 403)
        self.assertEqual(self.client.get("/jobs/a%00b/acknowledgement/").status_code, 404)
