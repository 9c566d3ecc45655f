from django.test import TestCase

from apps.methods import queries
from apps.methods.models import Family, TestMethod


def method(code: str) -> TestMethod:
    return TestMethod.objects.get(code=code)


class OfferedTests(TestCase):
    def test_methods_for_fabric_and_for_garments(self):
        fabric = [row.code for row in queries.offered_methods("fabric")]
        self.assertEqual(len(fabric), 5)
        self.assertEqual([row.code for row in queries.offered_methods("garment")], ["aatcc-tm150-2018"])
        self.assertEqual(list(queries.offered_methods("sail")), [])

    def test_a_retired_edition_is_offered_no_more(self):
        TestMethod.objects.filter(edition="2003").update(retired=True)
        self.assertNotIn("2003", queries.offered_methods("fabric").values_list("edition", flat=True))

    def test_washes_and_dryings_are_of_the_methods_own_family(self):
        for code, family, washes, dryings in (
            ("aatcc-tm135-2003-small", Family.AATCC_M6, 12, 6),
            ("aatcc-tm135-2018-large", Family.AATCC, 12, 6),
            ("aatcc-tm150-2018", Family.AATCC, 12, 6),
            ("iso-5077-2007-6330-2012", Family.ISO, 13, 7),
        ):
            with self.subTest(code):
                found = list(queries.procedures_for(method(code)))
                self.assertEqual((len(found), {row.family for row in found}), (washes, {family}))
                found = list(queries.dryings_for(method(code)))
                self.assertEqual((len(found), {row.family for row in found}), (dryings, {family}))

    def test_retired_washes_and_dryings_are_left_out(self):
        iso = method("iso-5077-2007-6330-2012")
        queries.procedures_for(iso).filter(label="9N").update(retired=True)
        queries.dryings_for(iso).filter(label="ISO 6330 E").update(retired=True)
        self.assertNotIn("9N", [row.label for row in queries.procedures_for(iso)])
        self.assertNotIn("ISO 6330 E", [row.label for row in queries.dryings_for(iso)])

    def test_in_the_order_of_the_standard(self):
        iso = method("iso-5077-2007-6330-2012")
        self.assertEqual([row.label for row in queries.procedures_for(iso)][:3], ["9N", "7N", "6N"])


class UnconfirmedTests(TestCase):
    def test_all_below_high_and_nothing_else(self):
        iso = method("iso-5077-2007-6330-2012")
        found = {figure.name: figure.confidence for figure in queries.unconfirmed(iso)}
        self.assertEqual(found["reported to the nearest"], "M")
        self.assertEqual(found["narrow fabrics: sizes of specimen and marks"], "U")
        self.assertNotIn("side of a specimen", found)

    def test_asked_by_owner_or_by_row(self):
        iso = method("iso-5077-2007-6330-2012")
        by_row, by_name = queries.unconfirmed(iso), queries.unconfirmed("method:iso-5077-2007-6330-2012")
        self.assertEqual(list(by_row), list(by_name))
        self.assertEqual(list(queries.unconfirmed("method:none-such")), [])


class MethodWholeTests(TestCase):
    def test_every_figure_stands_with_its_row(self):
        whole = queries.method_whole(method("aatcc-tm135-2018-small"))
        self.assertEqual(whole.sheet.row.code, "aatcc-tm135-2018-small")
        (warm,) = (sheet for sheet in whole.washes if sheet.row.label == "(1) III")
        self.assertIn("86 ± 2 strokes/min", [figure.value for figure in warm.figures])
        self.assertEqual({figure.owner for figure in warm.figures}, {"procedure:aatcc-1-iii"})
        self.assertEqual(warm.to_confirm, queries.unconfirmed(warm.row).count())

    def test_six_queries_whatever_the_length_of_the_tables(self):
        for code in ("aatcc-tm135-2018-small", "iso-5077-2007-6330-2012"):
            found = method(code)
            with self.assertNumQueries(6):
                queries.method_whole(found)
