"""Test methods and laundering procedures as data. An edition once used is never altered; a new edition is added."""

from decimal import Decimal

from django.db import models
from django.db.models import Q


class Averaging(models.TextChoices):
    RATIO_OF_MEANS = "ratio_of_means", "change of the mean lengths"
    MEAN_OF_CHANGES = "mean_of_changes", "mean of the specimens' changes"


class Family(models.TextChoices):
    """Methods, washes and dryings that go together. AATCC's machine tables were renewed with the 2018 editions."""

    AATCC = "aatcc", "AATCC LP1"
    AATCC_M6 = "aatcc-m6", "AATCC M6"
    ISO = "iso", "ISO 6330"
    LAB = "lab", "Lab"


class TestMethod(models.Model):
    """One exact edition of a method of test."""

    __test__ = False  # pytest: a model, not a class of tests

    class AppliesTo(models.TextChoices):
        FABRIC = "fabric", "fabric"
        GARMENT = "garment", "garment"

    code = models.SlugField(max_length=60, unique=True)
    designation = models.CharField(max_length=80)
    edition = models.CharField(max_length=20)
    title = models.CharField(max_length=200)
    family = models.CharField(max_length=20, choices=Family, help_text="whose procedures go with it")
    applies_to = models.CharField(max_length=10, choices=AppliesTo)
    specimens = models.PositiveSmallIntegerField(default=3)
    pairs_per_direction = models.PositiveSmallIntegerField(default=3)
    specimen_side_mm = models.DecimalField(
        max_digits=7, decimal_places=1, null=True, help_text="empty: the whole garment is the specimen"
    )
    benchmark_mm = models.DecimalField(max_digits=7, decimal_places=1)
    averaging = models.CharField(max_length=20, choices=Averaging)
    rounding_step = models.DecimalField("reported to the nearest (%)", max_digits=4, decimal_places=2)
    reading_resolution_mm = models.DecimalField(max_digits=6, decimal_places=3)
    in_scope = models.BooleanField("within the accreditation", default=False)
    retired = models.BooleanField(default=False)

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
                condition=Q(applies_to="fabric", specimen_side_mm__isnull=False, specimen_side_mm__gt=0)
                | Q(applies_to="garment", specimen_side_mm__isnull=True),
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
        dash = "-" if self.family in (Family.AATCC, Family.AATCC_M6) else ":"
        return f"{self.designation}{dash}{self.edition}"

    @property
    def owner(self) -> str:
        return f"method:{self.code}"


class LaunderingProcedure(models.Model):
    """How a load is washed: one row of a wash table of one edition."""

    code = models.SlugField(max_length=60, unique=True)
    family = models.CharField(max_length=20, choices=Family)
    label = models.CharField(max_length=80, help_text="as the standard writes it: (1) III, 4N")
    title = models.CharField(max_length=200)
    source = models.CharField(max_length=120)
    machine_kind = models.CharField(max_length=80)
    programme = models.CharField(max_length=60, help_text="what the operator sets on the machine")
    wash_temp_c = models.DecimalField(max_digits=4, decimal_places=1)
    wash_temp_tolerance_c = models.DecimalField(max_digits=3, decimal_places=1)
    load_mass_g = models.DecimalField(max_digits=7, decimal_places=1)
    load_tolerance_g = models.DecimalField(max_digits=6, decimal_places=1)
    specimens_at_most_half = models.BooleanField(default=False)
    ballast = models.CharField(max_length=120)
    ballast_piece_g = models.DecimalField(max_digits=6, decimal_places=1)
    detergent = models.CharField(max_length=120)
    detergent_g = models.DecimalField(
        max_digits=6, decimal_places=1, null=True, help_text="empty: not known, the lab sets it"
    )
    detergent_tolerance_g = models.DecimalField(max_digits=5, decimal_places=1, null=True)
    retired = models.BooleanField(default=False)

    class Meta:
        ordering = ["family", "id"]  # as the tables of the catalogue run
        constraints = [
            models.CheckConstraint(
                name="procedure_load_above_zero", condition=Q(load_mass_g__gt=0, ballast_piece_g__gt=0)
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_family_display()} {self.label}"

    @property
    def owner(self) -> str:
        return f"procedure:{self.code}"


class DryingProcedure(models.Model):
    """How pieces dry. A letter alone says nothing: "A" tumbles in one family, hangs in the other."""

    class Kind(models.TextChoices):
        TUMBLE = "tumble", "tumble dry"
        LINE = "line", "line dry"
        DRIP_LINE = "drip_line", "drip dry on a line"
        FLAT = "flat", "dry flat"
        DRIP_FLAT = "drip_flat", "drip dry flat"
        PRESS = "press", "flat press"

    code = models.SlugField(max_length=60, unique=True)
    family = models.CharField(max_length=20, choices=Family)
    label = models.CharField(max_length=40, help_text="always with its standard: AATCC A(i), ISO 6330 F (low)")
    title = models.CharField(max_length=120)
    source = models.CharField(max_length=120)
    kind = models.CharField(max_length=10, choices=Kind)
    exhaust_max_c = models.DecimalField(max_digits=4, decimal_places=1, null=True)
    exhaust_tolerance_c = models.DecimalField(max_digits=3, decimal_places=1, null=True)
    instruction = models.CharField(max_length=300)
    retired = models.BooleanField(default=False)

    class Meta:
        ordering = ["family", "id"]  # as the tables of the catalogue run

    def __str__(self) -> str:
        return f"{self.label} {self.title}"

    @property
    def owner(self) -> str:
        return f"drying:{self.code}"

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


class Figure(models.Model):
    """One number of the catalogue with where it comes from. Below high, the lab confirms it first."""

    class Confidence(models.TextChoices):
        HIGH = "H", "high"
        MEDIUM = "M", "medium"
        LOW = "L", "low"
        UNKNOWN = "U", "not known"

    owner = models.CharField(max_length=80, help_text="method:<code>, procedure:<code> or drying:<code>")
    name = models.CharField(max_length=80)
    value = models.CharField(max_length=120, blank=True, help_text="empty: not known, the lab sets it")
    source = models.CharField(max_length=200)
    confidence = models.CharField(max_length=1, choices=Confidence)
    field = models.CharField(max_length=40, blank=True, help_text="the owner's column that holds the same number")

    class Meta:
        ordering = ["owner", "id"]
        constraints = [
            models.UniqueConstraint(name="figure_once", fields=["owner", "name"]),
            models.CheckConstraint(
                name="figure_without_value_is_not_known",
                condition=Q(confidence="U", value="") | (~Q(confidence="U") & ~Q(value="")),
            ),
            models.CheckConstraint(name="figure_has_source", condition=~Q(source="")),
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.value}".strip()

    @property
    def to_confirm(self) -> bool:
        return self.confidence != self.Confidence.HIGH

    @property
    def is_known(self) -> bool:
        return self.confidence != self.Confidence.UNKNOWN
