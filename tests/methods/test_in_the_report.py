"""What the lab says about the catalogue, as a report prints it."""

from decimal import Decimal

from apps.intake.models import Request
from apps.methods import services
from apps.reporting.facts.freezing import freeze
from apps.reporting.facts.reader import Facts
from tests.cast import NOON, LabTestCase
from tests.methods.support import a_figure, confirm, confirm_all, used, wash, wash_numbers


class ReportTests(LabTestCase):
    def told(self, request: Request) -> dict:
        return freeze([request])["requests"][0]

    def test_what_is_not_confirmed_is_named_and_no_result_carries_the_mark(self):
        request = used(self)
        confirm_all(self, request.method)
        services.set_scope(method_id=request.method_id, in_scope=True, by=self.mara, at=NOON)
        told = self.told(Request.objects.get(pk=request.pk))
        self.assertFalse(told["method"]["in_scope"])  # the wash and the drying are not confirmed yet
        names = {(figure["owner"], figure["name"]) for figure in told["unconfirmed"]}
        self.assertIn(("procedure:aatcc-1-iii", "agitation"), names)
        self.assertNotIn("method:aatcc-tm135-2018-small", {owner for owner, _ in names})

    def test_all_confirmed_and_within_the_accreditation(self):
        request = used(self)
        for row in (request.method, request.procedure, request.drying):
            confirm_all(self, row)
        services.set_scope(method_id=request.method_id, in_scope=True, by=self.mara, at=NOON)
        told = self.told(Request.objects.get(pk=request.pk))
        self.assertTrue(told["method"]["in_scope"])
        self.assertEqual(told["unconfirmed"], [])
        self.assertEqual(Facts(freeze([request])).requests[0].unconfirmed_told, "")

    def test_one_word_takes_one_figure_from_the_list(self):
        request = used(self)
        before = len(self.told(request)["unconfirmed"])
        confirm(self, a_figure("drying:aatcc-a-i", "dryer exhaust"))
        self.assertEqual(len(self.told(request)["unconfirmed"]), before - 1)

    def test_a_wash_of_the_labs_own_is_told_as_that(self):
        made = services.copy_procedure(
            procedure_id=wash().pk,
            label="Cotton 35",
            numbers=wash_numbers(wash(), wash_temp_c=Decimal(35)),
            by=self.mara,
            at=NOON,
        )
        told = self.told(used(self, procedure=made))["procedure"]
        self.assertEqual(told["name"], "Cotton 35 (lab's own)")
        self.assertEqual(told["source"], "lab's own, after AATCC LP1 (1) III")
        self.assertIn("lab's own, after AATCC LP1 (1) III", told["title"])
        self.assertEqual(Decimal(told["wash_temp_c"]), 35)
