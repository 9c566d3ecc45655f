"""An edition that a request used stays as it was used, whoever writes."""

from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError

from apps.intake.models import Request
from apps.methods.models import (
    Confirmation,
    DryingProcedure,
    Figure,
    LaunderingProcedure,
    MeasuringPoint,
    TestMethod,
)
from apps.methods.queries import unconfirmed
from apps.methods.standing import load
from tests.cast import NOON, LabTestCase, a_received_job


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

    def test_what_is_offered_is_the_labs_to_say(self):
        TestMethod.objects.filter(pk=self.method.pk).update(retired=True)
        LaunderingProcedure.objects.filter(pk=self.wash.pk).update(retired=True)
        DryingProcedure.objects.filter(pk=self.drying.pk).update(retired=True)
        self.method.refresh_from_db()
        self.assertTrue(self.method.retired)

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
        values = TestMethod.objects.filter(code="aatcc-tm135-2018-large").values().get()
        other = TestMethod.objects.create(**{**values, "id": None, "code": "own-1", "edition": "our own"})
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


class RequestTests(LabTestCase):
    """Nothing is tested by an edition of which a number is missing, whoever writes the request."""

    def test_no_request_names_what_is_not_complete(self):
        request = Request.objects.get(sample__job=a_received_job(self))
        for column, row in (
            ("method", TestMethod.objects.get(code="aatcc-tm135-2014")),
            ("procedure", LaunderingProcedure.objects.get(code="iso-6330-2012-type-b")),
            ("drying", DryingProcedure.objects.get(code="aatcc-m6-late-a")),
        ):
            with self.subTest(column):
                with self.assertRaisesRegex(IntegrityError, "lacks numbers"), transaction.atomic():
                    Request.objects.filter(pk=request.pk).update(**{column: row})
                values = Request.objects.filter(pk=request.pk).values().get()
                new = Request(**{**values, "id": None, "ordinal": 9, f"{column}_id": row.pk})
                with self.assertRaisesRegex(IntegrityError, "lacks numbers"), transaction.atomic():
                    new.save()


class ScopeTests(LabTestCase):
    def test_no_edition_enters_the_accreditation_with_a_figure_not_confirmed(self):
        method = TestMethod.objects.get(code="iso-5077-2007-6330-2012")
        rows = TestMethod.objects.filter(pk=method.pk)
        with self.assertRaisesRegex(IntegrityError, "not confirmed"), transaction.atomic():
            rows.update(in_scope=True)
        for figure in unconfirmed(method):
            confirmed(self, figure)
        rows.update(in_scope=True)
        rows.update(in_scope=False)

    def test_no_edition_begins_within_the_accreditation(self):
        values = TestMethod.objects.filter(code="aatcc-tm150-2018").values().get()
        with self.assertRaisesRegex(IntegrityError, "not confirmed"), transaction.atomic():
            TestMethod(**{**values, "id": None, "code": "own-x", "edition": "x", "in_scope": True}).save()


def confirmed(cast, figure: Figure, **more) -> Confirmation:
    values = {"ordinal": 1, "was": figure.value, "value": figure.value or "set", "note": "clause 1", "by": cast.mara}
    return Confirmation.objects.create(figure=figure, at=NOON, **{**values, **more})


class ConfirmationGuardTests(LabTestCase):
    @classmethod
    def setUpTestData(cls):
        super().setUpTestData()
        cls.figure = Figure.objects.get(owner="procedure:aatcc-1-iii", name="agitation")
        cls.said = confirmed(cls, cls.figure)

    def refused(self, act, words: str = ""):
        with self.assertRaisesRegex(IntegrityError, words), transaction.atomic():
            act()

    def test_what_was_said_is_neither_changed_nor_taken_back(self):
        rows = Confirmation.objects.filter(pk=self.said.pk)
        for change in ({"value": "1"}, {"note": "x"}, {"by": self.bea}, {"was": "x"}, {"ordinal": 2}):
            self.refused(lambda change=change: rows.update(**change), "stands")
        self.refused(rows.delete, "stands")
        self.refused(lambda: self.raw("DELETE FROM methods_confirmation"), "stands")

    def test_no_two_stand_in_one_place(self):
        self.refused(lambda: confirmed(self, self.figure))
        confirmed(self, self.figure, ordinal=2, value="x")

    def test_has_value_and_note_and_begins_at_one(self):
        self.refused(lambda: confirmed(self, self.figure, ordinal=2, value=""))
        self.refused(lambda: confirmed(self, self.figure, ordinal=2, note=""))
        self.refused(lambda: confirmed(self, self.figure, ordinal=0))

    def test_the_figure_under_it_stays(self):
        with self.assertRaises(ProtectedError):
            self.figure.delete()

    def test_nothing_is_written_over(self):
        if connection.vendor == "sqlite":
            columns = ", ".join(field.column for field in Confirmation._meta.local_fields)
            self.refused(
                lambda: self.raw(
                    f"INSERT OR REPLACE INTO methods_confirmation ({columns}) SELECT {columns} FROM"
                    f" methods_confirmation WHERE id = {self.said.pk}"
                ),
                "not replaced",
            )
        else:
            self.raw("SET CONSTRAINTS ALL IMMEDIATE")
            self.refused(lambda: self.raw("TRUNCATE methods_confirmation"), "not emptied")

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
        self.refused("method_offered_only_when_known", self.copy_of("aatcc-tm135-2018-small", specimen_side_mm=None))
        self.refused("method_side_for_fabric_only", self.copy_of("aatcc-tm150-2018", specimen_side_mm=380))

    def test_numbers_above_zero(self):
        self.refused("method_step_above_zero", self.copy_of("aatcc-tm150-2018", edition="x", rounding_step=0))
        self.refused("method_distances_above_zero", self.copy_of("aatcc-tm150-2018", edition="x", benchmark_mm=0))
        self.refused("method_has_specimens_and_pairs", self.copy_of("aatcc-tm150-2018", edition="x", specimens=0))

    def test_nothing_is_offered_of_which_a_number_is_missing(self):
        name = "method_offered_only_when_known"
        for column in ("specimens", "pairs_per_direction", "benchmark_mm", "rounding_step", "reading_resolution_mm"):
            self.refused(name, self.copy_of("aatcc-tm150-2018", edition="x", **{column: None}))
        self.refused(name, self.copy_of("aatcc-tm150-2018", edition="x", averaging=""))
        self.copy_of("aatcc-tm150-2018", edition="x", averaging="", retired=True).save()
        for code in ("aatcc-tm135-2004", "aatcc-tm150-2010"):
            with self.assertRaises(IntegrityError), transaction.atomic():
                TestMethod.objects.filter(code=code).update(retired=False)
        for code in ("iso-6330-2012-type-b", "iso-6330-2012-type-c", "aatcc-m6-late"):
            with self.assertRaises(IntegrityError), transaction.atomic():
                LaunderingProcedure.objects.filter(code=code).update(retired=False)
        with self.assertRaises(IntegrityError), transaction.atomic():
            DryingProcedure.objects.filter(code="aatcc-m6-late-a").update(retired=False)

    def test_no_drying_is_called_by_a_letter_alone(self):
        values = DryingProcedure.objects.filter(code="aatcc-b").values().get()
        for label in ("A", "a", "B ", "F (low)", "A(i)", "(A)", "C-"):
            row = DryingProcedure(**{**values, "id": None, "code": "own-x", "label": label})
            self.refused("drying_label_is_no_bare_letter", row)
        DryingProcedure(**{**values, "id": None, "code": "own-x", "label": "Line 2"}).save()

    def test_one_label_a_family(self):
        values = LaunderingProcedure.objects.filter(code="aatcc-1-iii").values().get()
        self.refused("procedure_label_once_a_family", LaunderingProcedure(**{**values, "id": None, "code": "own-x"}))
        values = DryingProcedure.objects.filter(code="aatcc-b").values().get()
        self.refused("drying_label_once_a_family", DryingProcedure(**{**values, "id": None, "code": "own-x"}))

    def test_a_point_is_length_or_width_and_has_its_number_once(self):
        point = {"garment": "top", "number": 90, "name": "x", "direction": "length", "sentence": "x", "source": "x"}
        self.refused("point_is_length_or_width", MeasuringPoint(**{**point, "direction": "both"}))
        self.refused("point_has_sentence_and_source", MeasuringPoint(**{**point, "source": ""}))
        self.refused("point_number_once_a_garment", MeasuringPoint(**{**point, "number": 1}))
        self.refused("point_name_once_a_garment", MeasuringPoint(**{**point, "name": "collar"}))

    def test_a_figure_has_a_source_and_a_value_or_is_not_known(self):
        figure = {"owner": "method:x", "name": "a", "value": "1 mm", "source": "seen", "confidence": "H"}
        self.refused("figure_without_value_is_not_known", Figure(**{**figure, "value": ""}))
        self.refused("figure_without_value_is_not_known", Figure(**{**figure, "confidence": "U"}))
        self.refused("figure_has_source", Figure(**{**figure, "source": ""}))
        Figure(**figure).save()
        self.refused("figure_once", Figure(**figure))
