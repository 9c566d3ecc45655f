"""A study of repeated readings becomes what the results of an edition are reckoned with."""

from datetime import date
from decimal import Decimal

from django.db import IntegrityError, transaction

from apps.core.errors import Refusal
from apps.methods.models import RepeatabilityFigure, TestMethod
from apps.methods.queries import repeatability_in_force
from apps.methods.services import Repeatability, adopt_repeatability
from tests.cast import NOON, LabTestCase


class AdoptTests(LabTestCase):
    def adopt(self, study: int, with_people: str = "0.18", *, direction: str = "length", by=None):
        found = Repeatability(
            direction=direction,
            scale="distance",
            repeatability=Decimal("0.1"),
            with_people=Decimal(with_people),
            n=8,
            people=2,
            dof=5,
            on=date(2026, 3, 1),
            study=study,
        )
        return adopt_repeatability(method_id=self.method.pk, found=found, by=by or self.mara, at=NOON)

    @property
    def method(self) -> TestMethod:
        return TestMethod.objects.get(code="aatcc-tm135-2018-small")

    def test_the_newest_of_a_direction_holds(self):
        self.adopt(1)
        newest, width = self.adopt(2, "0.2"), self.adopt(3, direction="width")
        method = self.method.pk
        with self.assertNumQueries(1):
            found = repeatability_in_force([method, 0])
        self.assertEqual(found[method], {("length", "distance"): newest, ("width", "distance"): width})

    def test_only_a_manager_and_a_study_once(self):
        self.adopt(1)
        for code, given in (
            ("not_manager", {"study": 2, "by": self.bea}),
            ("already_adopted", {"study": 1}),
            ("no_spread", {"study": 3, "with_people": "0"}),
        ):
            with self.subTest(code), self.assertRaises(Refusal) as caught:
                self.adopt(**given)
            self.assertEqual(caught.exception.code, code)

    def test_it_stands_as_it_was_adopted(self):
        row = RepeatabilityFigure.objects.filter(pk=self.adopt(1).pk)
        for write in (lambda: row.update(with_people=1), row.delete):
            with self.assertRaises(IntegrityError), transaction.atomic():
                write()

    def test_its_page_tells_of_it(self):
        self.adopt(1)
        self.sign_in(self.bea)
        page = self.client.get("/methods/aatcc-tm135-2018-small/")
        self.assertContains(page, "How far readings differ")
        self.assertContains(page, "Repeatability of length adopted: 0.18 %")
