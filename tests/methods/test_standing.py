from django.test import TestCase

from apps.methods.models import (
    DryingProcedure,
    ExtraMeasurement,
    Figure,
    LaunderingProcedure,
    MeasuringPoint,
    TestMethod,
)
from apps.methods.standing import load

MODELS = (TestMethod, LaunderingProcedure, DryingProcedure, ExtraMeasurement, MeasuringPoint, Figure)


def everything() -> list[list[dict]]:
    return [list(model.objects.order_by("pk").values()) for model in MODELS]


class LoadTests(TestCase):
    def test_the_catalogue_is_there_after_migrate(self):
        self.assertEqual([model.objects.count() for model in MODELS[:5]], [11, 40, 23, 3, 37])
        self.assertGreater(Figure.objects.count(), 1000)
        self.assertEqual(
            sorted(ExtraMeasurement.objects.values_list("code", "methods__code")),
            [
                ("aatcc-tm179-2019-option-1", "aatcc-tm135-2018-large"),
                ("aatcc-tm179-2019-option-1", "aatcc-tm135-2018-small"),
                ("aatcc-tm179-2019-option-2", "aatcc-tm135-2018-large"),
                ("aatcc-tm179-2019-option-2", "aatcc-tm135-2018-small"),
                ("aatcc-tm207-2017", "aatcc-tm150-2018"),
            ],
        )

    def test_twice_changes_nothing(self):
        before = everything()
        load()
        load()
        self.assertEqual(everything(), before)

    def test_few_queries_on_a_full_catalogue(self):
        # which tables, the figures, four tables' codes, the points; two more mark the transaction within the test's
        with self.assertNumQueries(9):
            load()

    def test_adds_what_is_missing(self):
        TestMethod.objects.filter(code="aatcc-tm135-2018-small").delete()
        Figure.objects.filter(owner="drying:iso-6330-2012-a").delete()
        Figure.objects.filter(owner="procedure:aatcc-1-iii", name="agitation").delete()
        ExtraMeasurement.objects.filter(code="aatcc-tm207-2017").delete()
        MeasuringPoint.objects.filter(garment="skirt", name="hip").delete()
        load()
        self.assertEqual(MeasuringPoint.objects.get(garment="skirt", name="hip").number, 2)
        twist = ExtraMeasurement.objects.get(code="aatcc-tm207-2017")
        self.assertEqual([method.code for method in twist.methods.all()], ["aatcc-tm150-2018"])
        self.assertEqual(str(TestMethod.objects.get(code="aatcc-tm135-2018-small")), "AATCC TM135-2018")
        self.assertEqual(Figure.objects.filter(owner="drying:iso-6330-2012-a").count(), 3)
        self.assertEqual(
            Figure.objects.get(owner="procedure:aatcc-1-iii", name="agitation").value, "86 ± 2 strokes/min"
        )

    def test_leaves_alone_what_the_lab_has_altered(self):
        TestMethod.objects.filter(code="aatcc-tm135-2018-small").update(retired=True, specimens=4)
        LaunderingProcedure.objects.filter(code="aatcc-1-iii").update(detergent_g=70)
        Figure.objects.filter(owner="procedure:aatcc-1-iii", name="detergent for this load").update(value="70 g")
        MeasuringPoint.objects.filter(garment="top", number=1).update(sentence="otherwise")
        ExtraMeasurement.objects.get(code="aatcc-tm179-2019-option-1").methods.clear()
        before = everything()
        load()
        self.assertEqual(everything(), before)
        self.assertFalse(ExtraMeasurement.objects.get(code="aatcc-tm179-2019-option-1").methods.exists())

    def test_rows_of_the_lab_stay(self):
        Figure.objects.create(
            owner="method:our-own", name="side of a specimen", value="300 mm", source="lab", confidence="H"
        )
        load()
        self.assertTrue(Figure.objects.filter(owner="method:our-own").exists())
