"""The rows of the catalogue: methods, washes, dryings, extra measurements."""

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.db.models.functions import Substr
from django.db.models.lookups import In

ENDS = ["", *" ()[]-.,:;/'\"′"]


class Averaging(models.TextChoices):
    RATIO_OF_MEANS = "ratio_of_means", "change of the mean lengths"
    MEAN_OF_CHANGES = "mean_of_changes", "mean of the specimens' changes"


class Family(models.TextChoices):
    """Methods, washes and dryings that go together. AATCC's machine tables were renewed with the 2018 editions."""

    AATCC = "aatcc", "AATCC LP1"
    AATCC_M6 = "aatcc-m6", "AATCC M6"
    AATCC_M6_LATE = "aatcc-m6-late", "AATCC M6 of 2011 to 2016"
    ISO = "iso", "ISO 6330"
    LAB = "lab", "Lab"


class AppliesTo(models.TextChoices):
    FABRIC = "fabric", "fabric"
    GARMENT = "garment", "garment"


def known(*columns: str, texts: tuple[str, ...] = ()) -> Q:
    """Condition: each of these columns holds something."""
    condition = Q(**{f"{column}__isnull": False for column in columns})
    for column in texts:
        condition &= ~Q(**{column: ""})
    return condition


class CatalogueRow(models.Model):
    """What methods, washes, dryings and extra measurements share.

    A row that lacks a number the rules need is kept, so that the lab can fill it in, and is not offered. A row of the
    lab's own names the one that it was copied from.
    """

    OWNER = ""  # the word before the code where figures and the trail name a row
    page = ""  # the name of its page's address

    code = models.SlugField(max_length=48, unique=True)
    copied_from = models.ForeignKey("self", models.PROTECT, null=True, related_name="copies")
    retired = models.BooleanField("not offered", default=False)

    class Meta:
        abstract = True

    @property
    def owner(self) -> str:
        return f"{self.OWNER}:{self.code}"

    @property
    def is_own(self) -> bool:
        """The lab's own, after a row of the catalogue."""
        return self.copied_from_id is not None

    @property
    def needed(self) -> tuple[str, ...]:
        """Columns without which nothing can be tested by it."""
        return ()

    @property
    def missing(self) -> list[str]:
        """What the rules need and nobody knows, in words."""
        return [
            str(self._meta.get_field(column).verbose_name)
            for column in self.needed
            if getattr(self, column) in (None, "")
        ]

    @property
    def is_complete(self) -> bool:
        return not self.missing


class TestMethod(CatalogueRow):
    """One exact edition of a method of test."""

    __test__ = False  # pytest: a model, not a class of tests
    AppliesTo = AppliesTo
    OWNER, page = "method", "methods:method"

    designation = models.CharField(max_length=80)
    edition = models.CharField(max_length=20)
    title = models.CharField(max_length=250)
    family = models.CharField(max_length=20, choices=Family, help_text="whose procedures go with it")
    applies_to = models.CharField(max_length=10, choices=AppliesTo)
    specimens = models.PositiveSmallIntegerField(null=True)
    pairs_per_direction = models.PositiveSmallIntegerField("pairs in each direction", null=True)
    specimen_side_mm = models.DecimalField(
        "side of a specimen (mm)",
        max_digits=7,
        decimal_places=1,
        null=True,
        help_text="empty for a garment: the whole garment is the specimen",
    )
    benchmark_mm = models.DecimalField("distance of the marks (mm)", max_digits=7, decimal_places=1, null=True)
    averaging = models.CharField(max_length=20, choices=Averaging, blank=True)
    rounding_step = models.DecimalField("reported to the nearest (%)", max_digits=4, decimal_places=2, null=True)
    reading_resolution_mm = models.DecimalField("smallest reading (mm)", max_digits=6, decimal_places=3, null=True)
    in_scope = models.BooleanField("within the accreditation", default=False)

    class Meta:
        ordering = ["designation", "edition"]
        constraints = [
            models.UniqueConstraint(
                name="method_edition_once", fields=["designation", "edition", "specimen_side_mm", "benchmark_mm"]
            ),
            models.UniqueConstraint(
                name="method_garment_edition_once",
                fields=["designation", "edition", "benchmark_mm"],
                condition=Q(specimen_side_mm__isnull=True),
            ),
            models.CheckConstraint(
                name="method_side_for_fabric_only",
                condition=Q(specimen_side_mm__isnull=True) | Q(applies_to="fabric", specimen_side_mm__gt=0),
            ),
            models.CheckConstraint(
                name="method_offered_only_when_known",
                condition=Q(retired=True)
                | (
                    known(
                        *("specimens", "pairs_per_direction", "benchmark_mm", "rounding_step", "reading_resolution_mm"),
                        texts=("averaging",),
                    )
                    & (Q(applies_to="garment") | Q(specimen_side_mm__isnull=False))
                ),
            ),
            models.CheckConstraint(
                name="method_distances_above_zero", condition=Q(benchmark_mm__gt=0, reading_resolution_mm__gt=0)
            ),
            models.CheckConstraint(name="method_step_above_zero", condition=Q(rounding_step__gt=0)),
            models.CheckConstraint(
                name="method_has_specimens_and_pairs", condition=Q(specimens__gte=1, pairs_per_direction__gte=1)
            ),
        ]

    def __str__(self) -> str:
        if self.is_own:
            return f"{self.designation}, edition {self.edition} (lab's own)"
        dash = ":" if self.family == Family.ISO else "-"
        return f"{self.designation}{dash}{self.edition}"

    @property
    def needed(self) -> tuple[str, ...]:
        side = ("specimen_side_mm",) if self.applies_to == AppliesTo.FABRIC else ()
        rest = ("benchmark_mm", "averaging", "rounding_step", "reading_resolution_mm")
        return ("specimens", "pairs_per_direction", *side, *rest)


class LaunderingProcedure(CatalogueRow):
    """How a load is washed: one row of a wash table of one edition."""

    OWNER, page = "procedure", "methods:wash"

    family = models.CharField(max_length=20, choices=Family)
    label = models.CharField(max_length=80, help_text="as the standard writes it: (1) III, 4N")
    title = models.CharField(max_length=250)
    source = models.CharField(max_length=160)
    machine_kind = models.CharField(max_length=80)
    programme = models.CharField(max_length=60, blank=True, help_text="what the operator sets on the machine")
    wash_temp_c = models.DecimalField("wash temperature (°C)", max_digits=4, decimal_places=1, null=True)
    wash_temp_tolerance_c = models.DecimalField(
        "tolerance of the temperature (°C)", max_digits=3, decimal_places=1, null=True
    )
    load_mass_g = models.DecimalField("load (g)", max_digits=7, decimal_places=1, null=True)
    load_tolerance_g = models.DecimalField("tolerance of the load (g)", max_digits=6, decimal_places=1, null=True)
    specimens_at_most_half = models.BooleanField("specimens at most half of the load", default=False)
    ballast = models.CharField(max_length=120, blank=True)
    ballast_piece_g = models.DecimalField("a piece of ballast (g)", max_digits=6, decimal_places=1, null=True)
    detergent = models.CharField(max_length=120, blank=True)
    detergent_g = models.DecimalField(
        "detergent (g)", max_digits=6, decimal_places=1, null=True, help_text="empty: not known, the lab sets it"
    )
    detergent_tolerance_g = models.DecimalField(
        "tolerance of the detergent (g)", max_digits=5, decimal_places=1, null=True
    )

    class Meta:
        ordering = ["family", "id"]  # as the tables of the catalogue run
        constraints = [
            models.UniqueConstraint(name="procedure_label_once_a_family", fields=["family", "label"]),
            models.CheckConstraint(
                name="procedure_load_above_zero", condition=Q(load_mass_g__gt=0, ballast_piece_g__gt=0)
            ),
            models.CheckConstraint(
                name="procedure_tolerances_from_zero",
                condition=Q(wash_temp_tolerance_c__gte=0, load_tolerance_g__gte=0)
                & (Q(detergent_tolerance_g__isnull=True) | Q(detergent_tolerance_g__gte=0)),
            ),
            models.CheckConstraint(
                name="procedure_offered_only_when_known",
                condition=Q(retired=True)
                | known(
                    *("wash_temp_c", "wash_temp_tolerance_c", "load_mass_g", "load_tolerance_g", "ballast_piece_g"),
                    texts=("programme", "ballast", "detergent"),
                ),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} (lab's own)" if self.is_own else f"{self.get_family_display()} {self.label}"

    @property
    def needed(self) -> tuple[str, ...]:
        numbers = ("wash_temp_c", "wash_temp_tolerance_c", "load_mass_g", "load_tolerance_g", "ballast_piece_g")
        return ("programme", *numbers, "ballast", "detergent")


class DryingProcedure(CatalogueRow):
    """How pieces dry. A letter alone says nothing: "A" tumbles in one family, hangs in the other."""

    class Kind(models.TextChoices):
        TUMBLE = "tumble", "tumble dry"
        LINE = "line", "line dry"
        DRIP_LINE = "drip_line", "drip dry on a line"
        FLAT = "flat", "dry flat"
        DRIP_FLAT = "drip_flat", "drip dry flat"
        PRESS = "press", "flat press"

    OWNER, page = "drying", "methods:drying"

    family = models.CharField(max_length=20, choices=Family)
    label = models.CharField(max_length=40, help_text="always with its standard: AATCC A(i), ISO 6330 F (low)")
    title = models.CharField(max_length=200)
    source = models.CharField(max_length=160)
    kind = models.CharField(max_length=10, choices=Kind)
    exhaust_max_c = models.DecimalField("exhaust at most (°C)", max_digits=4, decimal_places=1, null=True)
    exhaust_tolerance_c = models.DecimalField(
        "tolerance of the exhaust (°C)", max_digits=3, decimal_places=1, null=True
    )
    instruction = models.CharField(max_length=300)

    class Meta:
        ordering = ["family", "id"]  # as the tables of the catalogue run
        constraints = [
            models.UniqueConstraint(name="drying_label_once_a_family", fields=["family", "label"]),
            models.CheckConstraint(
                # "A", "A(i)", "F (low)" and "(A)" are no names: they end, or leave off, after their first letter.
                name="drying_label_is_no_bare_letter",
                condition=~Q(In(Substr("label", 2, 1), ENDS)) & ~Q(In(Substr("label", 1, 1), ENDS)),
            ),
            models.CheckConstraint(
                name="drying_offered_only_when_known",
                condition=Q(retired=True) | ~Q(kind="tumble") | Q(exhaust_max_c__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.label} {self.title}"

    @property
    def needed(self) -> tuple[str, ...]:
        return ("exhaust_max_c",) if self.kind == self.Kind.TUMBLE else ()

    @property
    def exhaust_limit_c(self) -> Decimal | None:
        """The hottest exhaust that is still within the procedure, its tolerance included."""
        return None if self.exhaust_max_c is None else self.exhaust_max_c + (self.exhaust_tolerance_c or 0)

    @property
    def needs_machine(self) -> bool:
        return self.kind in (self.Kind.TUMBLE, self.Kind.PRESS)

    @property
    def without_spin(self) -> bool:
        """Drip drying takes the pieces out before the last spin, so they share no wash with spun ones."""
        return self.kind in (self.Kind.DRIP_LINE, self.Kind.DRIP_FLAT)


class ExtraMeasurement(CatalogueRow):
    """What may be measured beside the change of length on the same specimens: skew of fabric, twist of garments."""

    class Formula(models.TextChoices):
        """Each is a call of calc.skew."""

        SKEW_DIAGONALS = "from_diagonals", "100 × 2 (AC − BD) / (AC + BD)"
        SKEW_LINES = "from_displacement", "100 × (AA′ + DD′) / (AB + CD)"
        TWIST = "garment_twist", "100 × AA′ / AB"

    OWNER, page = "extra", "methods:extra"

    designation = models.CharField(max_length=80)
    edition = models.CharField(max_length=20)
    option = models.CharField(max_length=20, blank=True)
    title = models.CharField(max_length=200)
    applies_to = models.CharField(max_length=10, choices=AppliesTo)
    formula = models.CharField(max_length=20, choices=Formula)
    marks = models.CharField(max_length=300, help_text="how the specimen is marked for it")
    methods = models.ManyToManyField(TestMethod, related_name="extras", help_text="whose specimens it may use")

    class Meta:
        ordering = ["designation", "edition", "option"]
        constraints = [
            models.UniqueConstraint(name="extra_edition_and_option_once", fields=["designation", "edition", "option"])
        ]

    def __str__(self) -> str:
        return f"{self.designation}-{self.edition} {self.option}".strip()
