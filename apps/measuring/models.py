"""Benchmark pairs and what was read between them."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.intake.models import BelongsToJob, Specimen


class BenchmarkPairQuerySet(BelongsToJob):
    job_path = "specimen__request__sample__job"


class BenchmarkPair(models.Model):
    """Two marks on a specimen whose distance is read before and after laundering.

    A mark may get lost (blurred, frayed): from then on the pair has no reading. A reading is never estimated.
    """

    class Direction(models.TextChoices):
        LENGTH = "length", "length"
        WIDTH = "width", "width"

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="pairs")
    direction = models.CharField(max_length=6, choices=Direction)
    number = models.PositiveSmallIntegerField()
    place = models.CharField("measuring point", max_length=80, blank=True)
    nominal_mm = models.DecimalField("marked distance (mm)", max_digits=7, decimal_places=1)
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
        """What the bench calls it on its specimen: length 2."""
        return f"{self.direction} {self.number}"

    def is_due_at(self, stage: int) -> bool:
        return self.lost_stage is None or stage < self.lost_stage


class ReadingQuerySet(BelongsToJob):
    job_path = "pair__specimen__request__sample__job"

    def in_force(self) -> "ReadingQuerySet":
        return self.filter(voided_at__isnull=True)


class Reading(models.Model):
    """A distance as it was read: the text typed, its unit, and the same in millimetres, never rounded.

    Stage 0 is before washing, n after cycle n. A wrong reading is voided with a reason and read again.
    """

    class Unit(models.TextChoices):
        MM = "mm", "mm"
        CM = "cm", "cm"
        INCH = "in", "in"

    pair = models.ForeignKey(BenchmarkPair, models.PROTECT, related_name="readings")
    stage = models.PositiveSmallIntegerField()
    text = models.CharField("as typed", max_length=32)
    unit = models.CharField(max_length=2, choices=Unit)
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
            models.CheckConstraint(name="reading_unit_known", condition=Q(unit__in=["mm", "cm", "in"])),
            models.CheckConstraint(
                name="reading_void_has_reason",
                condition=Q(voided_at__isnull=True, voided_by__isnull=True, void_reason="")
                | (Q(voided_at__isnull=False, voided_by__isnull=False) & ~Q(void_reason="")),
            ),
        ]
