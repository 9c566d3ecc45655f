from django.test import TestCase

from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.methods.standing import load

MODELS = (TestMethod, LaunderingProcedure, DryingProcedure, Figure)


def everything() -> list[list[dict]]:
    return [list(model.objects.order_by("pk").values()) for model in MODELS]


class LoadTests(TestCase):
    def test_the_catalogue_is_there_after_migrate(self):
        self.assertEqual([model.objects.count() for model in MODELS[:3]], [6, 37, 19])
        self.assertGreater(Figure.objects.count(), 500)

    def test_twice_changes_nothing(self):
        before = everything()
        load()
        load()
        self.assertEqual(everything(), before)

    def test_few_queries_on_a_full_catalogue(self):
        # which tables there are, the figures, three tables' codes; two more mark the transaction within the test's
        with self.assertNumQueries(7):
            load()

    def test_adds_what_is_missing(self):
        TestMethod.objects.filter(code="aatcc-tm135-2018-small").delete()
        Figure.objects.filter(owner="drying:iso-6330-2012-a").delete()
        Figure.objects.filter(owner="procedure:aatcc-1-iii", name="agitation").delete()
        load()
        self.assertEqual(str(TestMethod.objects.get(code="aatcc-tm135-2018-small")), "AATCC TM135-2018")
        self.assertEqual(Figure.objects.filter(owner="drying:iso-6330-2012-a").count(), 3)
        self.assertEqual(
            Figure.objects.get(owner="procedure:aatcc-1-iii", name="agitation").value, "86 ± 2 strokes/min"
        )

    def test_leaves_alone_what_the_lab_has_altered(self):
        TestMethod.objects.filter(code="aatcc-tm135-2018-small").update(retired=True, in_scope=True, specimens=4)
        LaunderingProcedure.objects.filter(code="aatcc-1-iii").update(detergent_g=70)
        Figure.objects.filter(owner="procedure:aatcc-1-iii", name="detergent for this load").update(value="70 g")
        before = everything()
        load()
        self.assertEqual(everything(), before)

    def test_rows_of_the_lab_stay(self):
        Figure.objects.create(
            owner="method:our-own", name="side of a specimen", value="300 mm", source="lab", confidence="H"
        )
        load()
        self.assertTrue(Figure.objects.filter(owner="method:our-own").exists())
