"""Benchmark pairs and what was read between them."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.core.columns import void_is_whole
from apps.equipment.models import Equipment
from apps.intake.models import BelongsToJob, Specimen
from apps.methods.models import ExtraMeasurement, MeasuringPoint


class BenchmarkPairQuerySet(BelongsToJob):
    job_path = "specimen__request__sample__job"


class BenchmarkPair(models.Model):
    """Two marks on a specimen whose distance is read before and after laundering.

    On a garment a pair lies at a measuring point of the catalogue, left and right kept apart, or in a benchmark square
    of a panel; its `place` says where, and pairs of different places are never made one number.
    A mark may get lost (blurred, frayed): from then on the pair has no reading. A reading is never estimated.
    """

    class Direction(models.TextChoices):
        LENGTH = "length", "length"
        WIDTH = "width", "width"

    class Side(models.TextChoices):
        LEFT = "left", "left"
        RIGHT = "right", "right"

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="pairs")
    direction = models.CharField(max_length=6, choices=Direction)
    number = models.PositiveSmallIntegerField()
    place = models.CharField("measuring point", max_length=80, blank=True)
    point = models.ForeignKey(MeasuringPoint, models.PROTECT, null=True, blank=True, related_name="+")
    side = models.CharField(max_length=5, choices=Side, blank=True)
    nominal_mm = models.DecimalField(
        "marked distance (mm)", max_digits=7, decimal_places=1, null=True, help_text="empty: as the garment has it"
    )
    lost_stage = models.PositiveSmallIntegerField("no reading from this stage on", null=True, blank=True)
    lost_reason = models.CharField(max_length=300, blank=True)
    lost_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    lost_at = models.DateTimeField(null=True, blank=True)

    objects = BenchmarkPairQuerySet.as_manager()

    class Meta:
        ordering = ["specimen", "direction", "number"]
        constraints = [
            models.UniqueConstraint(name="pair_once_per_specimen", fields=["specimen", "direction", "number"]),
            models.CheckConstraint(name="pair_number_from_one", condition=Q(number__gte=1)),
            models.CheckConstraint(name="pair_distance_above_zero", condition=Q(nominal_mm__gt=0)),
            models.CheckConstraint(name="pair_direction_known", condition=Q(direction__in=["length", "width"])),
            models.CheckConstraint(name="pair_side_known", condition=Q(side__in=["", "left", "right"])),
            models.CheckConstraint(
                name="pair_has_a_distance_or_a_point",
                condition=Q(nominal_mm__isnull=False, point__isnull=True)
                | (Q(nominal_mm__isnull=True, point__isnull=False) & ~Q(place="")),
            ),
            models.CheckConstraint(
                name="pair_lost_whole",
                condition=Q(lost_stage__isnull=True, lost_by__isnull=True, lost_at__isnull=True, lost_reason="")
                | (Q(lost_stage__isnull=False, lost_by__isnull=False, lost_at__isnull=False) & ~Q(lost_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.specimen.code} {self.direction} {self.number}"

    @property
    def name(self) -> str:
        """What the bench calls it on its specimen: length 2; on a garment its place."""
        if self.point_id is not None:
            return self.place
        return f"{self.group} {self.number}"

    @property
    def group(self) -> str:
        """Pairs of one group make one figure: all of a direction; on a garment those of one place."""
        return self.place or self.direction

    def is_due_at(self, stage: int) -> bool:
        return self.lost_stage is None or stage < self.lost_stage


class ReadingQuerySet(BelongsToJob):
    job_path = "pair__specimen__request__sample__job"

    def in_force(self) -> "ReadingQuerySet":
        return self.filter(voided_at__isnull=True)


class Reading(models.Model):
    """A distance as it was read: the text typed, its unit, and the same in millimetres, never rounded.

    In percent: read from a shrinkage scale; the mark of its template stands as the original, typed 0.

    Stage 0 is before washing, n after cycle n. A wrong reading is voided with a reason and read again.
    """

    class Unit(models.TextChoices):
        MM = "mm", "mm"
        CM = "cm", "cm"
        INCH = "in", "in"
        PERCENT = "pct", "%"

    pair = models.ForeignKey(BenchmarkPair, models.PROTECT, related_name="readings")
    stage = models.PositiveSmallIntegerField()
    text = models.CharField("as typed", max_length=32)
    unit = models.CharField(max_length=3, choices=Unit)
    mm = models.DecimalField(max_digits=12, decimal_places=6)
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["pair", "stage", "id"]
        constraints = [
            models.UniqueConstraint(
                name="reading_once_per_pair_and_stage", fields=["pair", "stage"], condition=Q(voided_at__isnull=True)
            ),
            models.CheckConstraint(name="reading_above_zero", condition=Q(mm__gt=0)),
            models.CheckConstraint(name="reading_has_text", condition=~Q(text="")),
            models.CheckConstraint(name="reading_unit_known", condition=Q(unit__in=["mm", "cm", "in", "pct"])),
            void_is_whole("reading_void_has_reason"),
        ]

    @property
    def in_percent(self) -> bool:
        return self.unit == self.Unit.PERCENT

    @property
    def shown(self) -> str:
        """As typed, with its unit."""
        if self.in_percent and self.stage == 0:
            return "mark of the template"
        return f"{self.text} {self.get_unit_display()}"


class OfSpecimen(BelongsToJob):
    job_path = "specimen__request__sample__job"


class RackStay(models.Model):
    """A specimen lies in the conditioning room before it is read at a stage. Added, never changed; the newest holds.

    Without a room nobody looks at the air: the hours run, and the report says so.
    """

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="rack_stays")
    stage = models.PositiveSmallIntegerField()
    room = models.ForeignKey(Equipment, models.PROTECT, null=True, blank=True, related_name="+")
    since = models.DateTimeField()
    from_dry_side = models.BooleanField("pre-conditioned: it came in drier than the room's air", default=False)
    hand_ironed = models.CharField("hand ironed before, how", max_length=120, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    objects = OfSpecimen.as_manager()

    class Meta:
        ordering = ["specimen", "stage", "id"]


class Weighing(models.Model):
    """A specimen weighed in the conditioning room: two alike, hours apart, show that it has come to rest."""

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="weighings")
    stage = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    mass_g = models.DecimalField("mass (g)", max_digits=9, decimal_places=3)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    objects = OfSpecimen.as_manager()

    class Meta:
        ordering = ["specimen", "stage", "at", "id"]
        constraints = [models.CheckConstraint(name="weighing_above_zero", condition=Q(mass_g__gt=0))]


class ConditioningRule(models.Model):
    """What the lab does about air out of limits, pauses of the log, and reading early. The newest holds.

    Until the lab has said so, only specimens that were put on the rack are looked at.
    """

    class Becomes(models.TextChoices):
        RESTART = "restart", "begin anew after it"
        EXTEND = "extend", "do not count it"
        DISCLOSE = "disclose", "count it, and the report tells of it"

    class Early(models.TextChoices):
        REFUSE = "refuse", "never"
        DISCLOSE = "disclose", "with a written reason, as a deviation"

    excursions = models.CharField("air out of its limits", max_length=8, choices=Becomes, default=Becomes.EXTEND)
    gaps = models.CharField("a pause of the log", max_length=8, choices=Becomes, default=Becomes.DISCLOSE)
    early = models.CharField("reading before it is conditioned", max_length=8, choices=Early, default=Early.DISCLOSE)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                name="conditioning_rule_known",
                condition=Q(
                    excursions__in=["restart", "extend", "disclose"],
                    gaps__in=["restart", "extend", "disclose"],
                    early__in=["refuse", "disclose"],
                ),
            )
        ]


class ExtraReadingQuerySet(OfSpecimen):
    def in_force(self) -> "ExtraReadingQuerySet":
        return self.filter(voided_at__isnull=True)


class ExtraReading(models.Model):
    """Two distances on a specimen that make one figure: the diagonals of a square, or how far a seam has wandered.

    `first` may be nothing, or carry its direction as a sign, where it is a displacement. A wrong one is voided with a
    reason and read again.
    """

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="extras")
    extra = models.ForeignKey(ExtraMeasurement, models.PROTECT, related_name="+")
    stage = models.PositiveSmallIntegerField()
    place = models.CharField("which side", max_length=5, choices=BenchmarkPair.Side, blank=True)
    first_text = models.CharField(max_length=32)
    second_text = models.CharField(max_length=32)
    unit = models.CharField(max_length=3, choices=[("mm", "mm"), ("cm", "cm"), ("in", "in")])
    first_mm = models.DecimalField(max_digits=12, decimal_places=6)
    second_mm = models.DecimalField(max_digits=12, decimal_places=6)
    read_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    objects = ExtraReadingQuerySet.as_manager()

    class Meta:
        ordering = ["specimen", "extra", "stage", "place", "id"]
        constraints = [
            models.UniqueConstraint(
                name="extra_reading_once_in_force",
                fields=["specimen", "extra", "stage", "place"],
                condition=Q(voided_at__isnull=True),
            ),
            models.CheckConstraint(
                name="extra_reading_known",
                condition=Q(unit__in=["mm", "cm", "in"], place__in=["", "left", "right"], second_mm__gt=0),
            ),
            void_is_whole("extra_reading_void_has_reason"),
        ]
