"""The scan field: a code opens the right page for the role, a slip says what it may have meant."""

import pytest

from apps.calc.numbering import check_char
from apps.core import clock
from apps.front import queries
from apps.intake import services
from apps.intake.models import Specimen
from apps.laundering.queries import load_code
from tests.browser import DESK, PHONE, TABLET, sign_in
from tests.cast import (
    NOON,
    LabTestCase,
    a_marked_request,
    a_received_job,
    after_cycle,
    assemble,
    in_a_load,
    with_originals,
)


class ScanTests(LabTestCase):
    def setUp(self):
        self.request = a_marked_request(self)
        self.sample = self.request.sample
        self.number = self.sample.job.number
        self.sign_in(self.fran)

    def scan(self, text: str):
        return self.client.get("/scan/", {"q": text})

    def test_a_job_opens(self):
        for text in (self.number, self.number.lower(), self.number.replace("-", ""), f" {self.number} "):
            with self.subTest(text):
                self.assertRedirects(self.scan(text), f"/jobs/{self.number}/")

    def test_a_label_opens_with_its_check_character_and_without(self):
        code = self.sample.code
        for text in (code, code + check_char(code), code.replace("-", "")):
            with self.subTest(text):
                self.assertRedirects(self.scan(text), f"/samples/{code}/")

    def test_a_specimen_opens_where_the_role_works(self):
        code = Specimen.objects.first().code
        self.assertRedirects(self.scan(code), f"/samples/{self.sample.code}/")
        self.sign_in(self.bea)
        readings = f"/samples/{self.sample.code}/readings/?request=1"
        self.assertRedirects(self.scan(code + check_char(code)), f"{readings}&stage=0")
        self.sign_in(self.lou)
        self.assertRedirects(self.scan(code), f"/samples/{self.sample.code}/")
        self.sign_in(self.mara)
        self.assertRedirects(self.scan(code), f"/jobs/{self.number}/")

    def test_the_bench_is_led_to_what_waits(self):
        self.sign_in(self.bea)
        uncut = a_received_job(self).samples.get()
        self.assertRedirects(self.scan(uncut.code), f"/samples/{uncut.code}/cut/1/")
        services.cut_specimens(request_id=uncut.requests.get().pk, count=3, by=self.bea, at=NOON)
        self.assertRedirects(self.scan(f"{uncut.code}2"), f"/samples/{uncut.code}/cut/1/")
        self.assertRedirects(self.scan(self.sample.code), f"/samples/{self.sample.code}/readings/?request=1&stage=0")
        with_originals(self, self.request)
        self.assertRedirects(self.scan(self.sample.code), f"/samples/{self.sample.code}/")
        self.assertRedirects(self.scan(f"{self.sample.code}1"), f"/samples/{self.sample.code}/readings/?request=1")
        after_cycle(self, self.request)
        self.assertRedirects(
            self.scan(f"{self.sample.code}1"), f"/samples/{self.sample.code}/readings/?request=1&stage=1"
        )

    def test_the_laundry_is_led_to_the_queue_and_the_load(self):
        with_originals(self, self.request)
        self.sign_in(self.lou)
        first, second = (self.scan(f"{self.sample.code}{n}") for n in (1, 2))
        page = self.client.get(first.url)
        self.assertEqual(page.content.decode().count(" checked"), 1)
        both = self.client.get("/scan/", {"q": f"{self.sample.code}2"}, headers={"referer": f"http://x{first.url}"})
        self.assertEqual(self.client.get(both.url).content.decode().count(" checked"), 2)
        self.assertNotEqual(both.url, second.url)
        self.assertEqual(self.client.get(self.scan(self.sample.code).url).content.decode().count(" checked"), 3)
        for odd in ("http://[", "/laundry/?group=x&tick=1", f"{first.url}&tick=9999999999999999&tick=x&tick=²"):
            answer = self.client.get(
                "/scan/", {"q": f"{self.sample.code}2"}, headers={"referer": odd.encode().decode("latin-1")}
            )
            self.assertEqual(self.client.get(answer.url).status_code, 200)
        load = in_a_load(self, self.request)
        for code in (f"{self.sample.code}1", self.sample.code):
            self.assertRedirects(self.scan(code), f"/laundry/loads/{load.pk}/")

    def test_one_person_of_several_roles_is_led_where_something_waits(self):
        self.bea.laundry = self.bea.manager = True
        self.bea.save()
        self.sign_in(self.bea)
        piece = f"{self.sample.code}1"
        self.assertIn("/readings/", self.scan(piece).url)
        with_originals(self, self.request)
        self.assertIn("/laundry/?group=", self.scan(piece).url)

    def test_a_load_opens(self):
        load = in_a_load(self, with_originals(self, self.request))
        for text in (load_code(load.pk), load_code(load.pk).lower(), f"load {load.pk}"):
            with self.subTest(text):
                self.assertRedirects(self.scan(text), f"/laundry/loads/{load.pk}/")
        page = self.scan(f"L-{load.pk}" + ("A" if load_code(load.pk)[-1] != "A" else "B"))
        self.assertContains(page, f"Load {load.pk}")
        self.assertContains(page, "It may have meant")
        self.assertContains(self.scan("L-98765"), "There is no load of this code")

    def test_short_forms(self):
        serial, code = str(int(self.number[3:8])), self.sample.code
        for text in (serial, f"{self.number[:2]}-{serial}", self.number[:8], f"0{serial}{self.number[8]}"):
            with self.subTest(text):
                self.assertRedirects(self.scan(text), f"/jobs/{self.number}/")
        for text in (f"{serial}-a", f"{serial} A", f"{self.number[:8]}-A", f"{serial}-A1", "a1"):
            with self.subTest(text):
                self.assertRedirects(self.scan(text), f"/samples/{code}/")

    def test_what_stands_on_the_cloth_may_be_of_several_jobs(self):
        a_marked_request(self)
        page = self.scan("A1")
        self.assertEqual(page.status_code, 200)
        self.assertEqual(len(page.context["rows"]), 2)
        for _, href in page.context["rows"]:
            self.assertEqual(self.client.get(href).status_code, 302)

    def test_letters_that_mean_two_things_are_shown_both(self):
        """Sample A's label with its check character may read like a specimen's code without one."""
        end = check_char(self.sample.code)
        twin = Specimen.objects.create(
            request=self.request, number=90, code=self.sample.code + end, stage_since=self.sample.job.received_at
        )
        page = self.scan(twin.code)
        self.assertEqual(page.status_code, 200)
        hrefs = [href for _, href in page.context["rows"]]
        self.assertEqual(["kind=sample" in href for href in hrefs], [True, False])
        for href in hrefs:
            self.assertEqual(self.client.get(href).status_code, 302)

    def test_a_slip_says_what_it_may_have_meant(self):
        """One wrong character anywhere, or two neighbours swapped: job, sample, specimen, with their label's own."""
        piece = f"{self.sample.code}2"
        for right in (self.number, self.sample.code, piece, piece + check_char(piece)):
            bare = right.replace("-", "")
            slips = [bare[:n] + sign + bare[n + 1 :] for n in range(len(bare)) for sign in "07AK" if sign != bare[n]]
            slips += [bare[:n] + bare[n + 1] + bare[n] + bare[n + 2 :] for n in range(len(bare) - 1)]
            for wrong in slips:
                page = self.scan(wrong)
                if page.status_code == 302 or wrong == bare:
                    continue  # another code that exists, or one that reads alike
                with self.subTest(right=right, wrong=wrong):
                    self.assertContains(page, "It may have meant")
                    self.assertIn(bare[:8], [item.job.replace("-", "") for item in queries.near(self.fran, wrong)])

    def test_the_label_that_fits_comes_first(self):
        piece = f"{self.sample.code}2"
        label = piece + check_char(piece)
        wrong = label.replace("A2", "A5")
        self.assertEqual(queries.near(self.fran, wrong)[0].label, piece)

    def test_no_slip_shows_what_one_may_not_see(self):
        wrong = self.number[:-1] + ("A" if self.number[-1] != "A" else "B")
        self.assertEqual([found.job for found in queries.near(self.casey, wrong)], [self.number])
        self.assertEqual(queries.near(self.dana, wrong), [])
        self.assertEqual(queries.resolve_code(self.dana, "A1") + queries.resolve_code(self.dana, "1"), [])

    def test_a_slip_near_nothing(self):
        self.assertContains(self.scan("26-98765" + "AB"[check_char("2698765") == "A"]), "nearly like it")

    def test_a_slip_costs_no_more_when_the_book_is_full(self):
        wrong = self.number[:-1] + ("A" if self.number[-1] != "A" else "B")
        self.scan(wrong)
        for more in (0, 22):
            for _ in range(more):
                a_received_job(self)
            with self.subTest(more), self.assertNumQueries(8):
                self.scan(wrong)

    def test_a_well_written_number_of_nothing(self):
        self.assertContains(self.scan("26-09999" + check_char("2609999")), "written correctly")

    def test_finds_by_parts(self):
        for text in ("quellb", self.number[:5], "hemden quell"):
            with self.subTest(text):
                self.assertContains(self.scan(text), self.number)

    def test_bad_input_is_no_fault(self):
        odd = ("٣٤٥" * 4, "²" * 9, "１２３４５６７８", "ß" * 9)
        for text in ("", " ", "\x00", "x" * 10_000, "🧵" * 50, "%", "'; --", *odd, "26-00001O-" + "Z" * 300):
            with self.subTest(text[:20]):
                self.assertEqual(self.scan(text).status_code, 200)

    def test_does_not_grow(self):
        self.scan("quellb")
        with self.assertNumQueries(5):
            self.scan("quellb")
        for _ in range(22):
            a_received_job(self)
        with self.assertNumQueries(5):
            self.scan("quellb")


class HomeTests(LabTestCase):
    def test_each_role_lands_on_the_own_list(self):
        places = {self.fran: "/receiving/", self.bea: "/bench/", self.lou: "/laundry/", self.mara: "/approvals/"}
        for person, place in (places | {self.casey: "/my/"}).items():
            self.sign_in(person)
            with self.subTest(person):
                self.assertRedirects(self.client.get("/"), place)

    def test_nobody_is_asked_to_sign_in(self):
        self.sign_in(None)
        self.assertRedirects(self.client.get("/"), "/sign-in/?next=/")


def test_a_scanner_types_on_any_page(transactional_db, live_server, page):
    """No field has the focus; the scanner types and sends Enter. A finger that types slowly is left alone."""
    cast = assemble()
    with clock.set_to(NOON):
        request = a_marked_request(cast)
    sign_in(page.context, live_server, cast.fran)
    page.goto(f"{live_server.url}/receiving/")
    page.keyboard.type(request.sample.code, delay=150)
    page.keyboard.press("Enter")
    assert page.url.endswith("/receiving/")
    label = request.sample.code + check_char(request.sample.code)
    page.keyboard.type(label)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/samples/{request.sample.code}/")
    page.get_by_role("link", name="Labels").focus()
    page.keyboard.type(request.sample.job.number)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/jobs/{request.sample.job.number}/")


def test_a_scanner_leaves_fields_alone(transactional_db, live_server, page):
    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
    sign_in(page.context, live_server, cast.fran)
    page.goto(f"{live_server.url}/samples/{sample.code}/")
    page.get_by_label("It lies at").focus()
    page.keyboard.type("26-00002M-A")
    assert page.get_by_label("It lies at").input_value() == "26-00002M-A"


def test_the_scan_field_without_script(transactional_db, live_server, browser):
    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    sign_in(context, live_server, cast.fran)
    page = context.new_page()
    page.goto(f"{live_server.url}/receiving/")
    page.get_by_label("Scan or type a code").focus()
    page.keyboard.type(sample.code)
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/samples/{sample.code}/")
    context.close()


@pytest.mark.parametrize(
    "viewport", [PHONE, TABLET, DESK, {"width": 720, "height": 450}], ids=lambda v: str(v["width"])
)
def test_the_page_at_every_width(transactional_db, live_server, browser, viewport):
    from axe_playwright_python.sync_playwright import Axe

    cast = assemble()
    with clock.set_to(NOON):
        sample = a_received_job(cast).samples.get()
    context = browser.new_context(viewport=viewport, device_scale_factor=2)
    sign_in(context, live_server, cast.fran)
    page = context.new_page()
    for text in (sample.code[:8] + "*", sample.job.number[:7], ""):
        page.goto(f"{live_server.url}/scan/?q={text}")
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in ("serious", "critical")] == []
    context.close()
