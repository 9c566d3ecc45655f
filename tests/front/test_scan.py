"""The scan field: a code opens the right page for the role, a slip says what it may have meant."""

from apps.calc.numbering import check_char
from apps.intake.models import Specimen
from tests.cast import LabTestCase, a_marked_request, a_received_job


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
        self.assertRedirects(self.scan(code + check_char(code)), f"/samples/{self.sample.code}/readings/")

    def test_letters_that_mean_two_things_are_shown_both(self):
        """Sample A's label with its check character may read like a specimen's code without one."""
        end = check_char(self.sample.code)
        twin = Specimen.objects.create(
            request=self.request, number=90, code=self.sample.code + end, stage_since=self.sample.job.received_at
        )
        page = self.scan(twin.code)
        self.assertEqual(page.status_code, 200)
        self.assertContains(page, "Sample")
        self.assertContains(page, "Specimen")

    def test_a_slip_says_what_it_may_have_meant(self):
        wrong = self.number[:-1] + ("A" if self.number[-1] != "A" else "B")
        self.assertContains(self.scan(wrong), f"Did you mean job {self.number}?")

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
