"""An edition that a request used stays as it was used, whoever writes."""

from django.db import IntegrityError, connection, transaction

from apps.intake.models import Request
from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.methods.standing import load
from tests.cast import LabTestCase, a_received_job


class UsedEditionTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        request = Request.objects.get(sample__job=a_received_job(cls))
        cls.method, cls.wash, cls.drying = request.method, request.procedure, request.drying

    def refused(self, act):
        with self.assertRaises(IntegrityError) as caught, transaction.atomic():
            act()
        self.assertIn("never altered", str(caught.exception))

    def test_no_column_of_a_used_edition_changes(self):
        changes = {
            self.method: {
                "specimens": 4,
                "rounding_step": "0.5",
                "edition": "2019",
                "title": "x",
                "code": "y",
            },
            self.wash: {"wash_temp_c": 40, "load_mass_g": 2000, "detergent_g": None, "label": "x", "family": "iso"},
            self.drying: {"exhaust_max_c": 70, "label": "A", "instruction": "x", "exhaust_tolerance_c": None},
        }
        for row, columns in changes.items():
            for column, value in columns.items():
                with self.subTest(row=row, column=column):
                    self.refused(
                        lambda row=row, change={column: value}: type(row).objects.filter(pk=row.pk).update(**change)
                    )

    def test_scope_and_retirement_are_the_labs_to_say(self):
        TestMethod.objects.filter(pk=self.method.pk).update(in_scope=True, retired=True)
        LaunderingProcedure.objects.filter(pk=self.wash.pk).update(retired=True)
        DryingProcedure.objects.filter(pk=self.drying.pk).update(retired=True)
        self.method.refresh_from_db()
        self.assertTrue(self.method.in_scope and self.method.retired)

    def test_a_used_edition_is_not_deleted(self):
        for row in (self.method, self.wash, self.drying):
            with self.subTest(row=row):
                self.refused(lambda row=row: self.raw(f"DELETE FROM {row._meta.db_table} WHERE id = {row.pk}"))

    def test_its_figures_stay_too(self):
        for owner in (self.method.owner, self.wash.owner, self.drying.owner):
            figure = Figure.objects.filter(owner=owner).first()
            with self.subTest(owner):
                self.refused(lambda f=figure: Figure.objects.filter(pk=f.pk).update(value="1", confidence="H"))
                self.refused(lambda f=figure: Figure.objects.filter(pk=f.pk).update(owner="method:other"))
                self.refused(lambda f=figure: Figure.objects.filter(pk=f.pk).delete())

    def test_loading_again_gets_past_used_rows(self):
        before = list(Figure.objects.order_by("pk").values())
        load()
        self.assertEqual(list(Figure.objects.order_by("pk").values()), before)

    def test_an_unused_edition_may_still_be_put_right(self):
        other = TestMethod.objects.get(code="aatcc-tm135-2018-large")
        TestMethod.objects.filter(pk=other.pk).update(specimens=4)
        Figure.objects.filter(owner=other.owner).update(source="our own copy")
        other.delete()

    def test_nothing_is_written_over(self):
        if connection.vendor != "sqlite":
            self.skipTest("INSERT OR REPLACE is SQLite's")
        columns = ", ".join(field.column for field in TestMethod._meta.local_fields)
        with self.assertRaises(IntegrityError), transaction.atomic():
            self.raw(
                f"INSERT OR REPLACE INTO methods_testmethod ({columns}) SELECT {columns} FROM methods_testmethod"
                f" WHERE id = {self.method.pk}"
            )

    def raw(self, sql: str) -> None:
        with connection.cursor() as cursor:
            cursor.execute(sql)


class ConstraintTests(LabTestCase):
    def copy_of(self, code: str, **changes) -> TestMethod:
        values = TestMethod.objects.filter(code=code).values().get()
        return TestMethod(**{**values, "id": None, "code": "a-copy", **changes})

    def refused(self, name: str, row) -> None:
        with self.assertRaises(IntegrityError) as caught, transaction.atomic():
            row.save()
        if connection.vendor == "postgresql" or "CHECK" in str(caught.exception):
            self.assertIn(name, str(caught.exception))

    def test_one_row_an_edition_and_size(self):
        self.refused("method_edition_once", self.copy_of("aatcc-tm135-2018-small"))
        self.copy_of("aatcc-tm135-2018-small", edition="2024").save()

    def test_one_row_an_edition_for_garments(self):
        self.refused("method_garment_edition_once", self.copy_of("aatcc-tm150-2018"))

    def test_fabric_has_a_side_and_a_garment_none(self):
        self.refused("method_side_for_fabric_only", self.copy_of("aatcc-tm135-2018-small", specimen_side_mm=None))
        self.refused("method_side_for_fabric_only", self.copy_of("aatcc-tm150-2018", specimen_side_mm=380))

    def test_numbers_above_zero(self):
        self.refused("method_step_above_zero", self.copy_of("aatcc-tm150-2018", edition="x", rounding_step=0))
        self.refused("method_distances_above_zero", self.copy_of("aatcc-tm150-2018", edition="x", benchmark_mm=0))
        self.refused("method_has_specimens_and_pairs", self.copy_of("aatcc-tm150-2018", edition="x", specimens=0))

    def test_a_figure_has_a_source_and_a_value_or_is_not_known(self):
        figure = {"owner": "method:x", "name": "a", "value": "1 mm", "source": "seen", "confidence": "H"}
        self.refused("figure_without_value_is_not_known", Figure(**{**figure, "value": ""}))
        self.refused("figure_without_value_is_not_known", Figure(**{**figure, "confidence": "U"}))
        self.refused("figure_has_source", Figure(**{**figure, "source": ""}))
        Figure(**figure).save()
        self.refused("figure_once", Figure(**figure))
