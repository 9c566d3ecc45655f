"""Check fabric: a cloth whose change is known runs with the loads and tells whether a machine still does as it did."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from apps.calc.change import dimensional_change
from apps.core.columns import PERSON, void_is_whole
from apps.equipment.models import Equipment
from apps.laundering.models import Load
from apps.methods.models import LaunderingProcedure

_FIGURE = {"max_digits": 20, "decimal_places": 12}


class Direction(models.TextChoices):
    LENGTH = "length", "length"
    WIDTH = "width", "width"


class CheckFabric(models.Model):
    """A lot of cloth kept for checks. Another lot is another fabric: it may change otherwise."""

    name = models.CharField(max_length=120)
    lot = models.CharField(max_length=60)
    note = models.CharField("what is known of it", max_length=300, blank=True)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()

    class Meta:
        ordering = ["name", "lot"]
        constraints = [
            models.UniqueConstraint(name="check_fabric_once", fields=["name", "lot"]),
            models.CheckConstraint(name="check_fabric_has_name_and_lot", condition=~Q(name="") & ~Q(lot="")),
        ]

    def __str__(self) -> str:
        return f"{self.name}, lot {self.lot}"


class Check(models.Model):
    """This fabric runs in this washer with this procedure, every so many loads or days. Ended, never deleted."""

    fabric = models.ForeignKey(CheckFabric, models.PROTECT, related_name="checks")
    washer = models.ForeignKey(Equipment, models.PROTECT, related_name="checks")
    procedure = models.ForeignKey(LaunderingProcedure, models.PROTECT, related_name="+")
    every_loads = models.PositiveSmallIntegerField("every (loads)", null=True, blank=True)
    every_days = models.PositiveSmallIntegerField("every (days)", null=True, blank=True)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(**PERSON, null=True)
    end_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["washer__name", "procedure__code", "id"]
        constraints = [
            models.UniqueConstraint(
                name="check_once_at_a_time",
                fields=["fabric", "washer", "procedure"],
                condition=Q(ended_at__isnull=True),
            ),
            models.CheckConstraint(name="check_has_frequency", condition=Q(every_loads__gte=1) | Q(every_days__gte=1)),
            models.CheckConstraint(
                name="check_end_is_whole",
                condition=Q(ended_at__isnull=True, ended_by__isnull=True, end_reason="")
                | (Q(ended_at__gte=F("at"), ended_by__isnull=False) & ~Q(end_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.fabric} in {self.washer}"

    @property
    def stream(self) -> str:
        return f"check:{self.pk}"


class CheckPoint(models.Model):
    """What a piece of the fabric did in one direction in one load. Never changed: void, and recorded anew."""

    check_of = models.ForeignKey(Check, models.PROTECT, related_name="points")
    direction = models.CharField(max_length=6, choices=Direction)
    load = models.ForeignKey(Load, models.PROTECT, related_name="check_points")
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True)
    voided_by = models.ForeignKey(**PERSON, null=True)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["load__wash_started_at", "id"]
        constraints = [
            models.UniqueConstraint(
                name="check_point_once_a_load",
                fields=["check_of", "direction", "load"],
                condition=Q(voided_at__isnull=True),
            ),
            models.CheckConstraint(name="check_point_direction_known", condition=Q(direction__in=Direction.values)),
            void_is_whole("check_point_void_is_whole"),
        ]

    @property
    def change(self) -> Decimal:
        """In percent, unrounded: from the sums of its pairs."""
        pairs = self.pairs.all()
        return dimensional_change(sum(pair.before_mm for pair in pairs), sum(pair.after_mm for pair in pairs))


class CheckPair(models.Model):
    """The distance of two marks before and after, as read and in millimetres."""

    point = models.ForeignKey(CheckPoint, models.PROTECT, related_name="pairs")
    number = models.PositiveSmallIntegerField()
    before_text = models.CharField(max_length=20)
    after_text = models.CharField(max_length=20)
    unit = models.CharField(max_length=2)
    before_mm = models.DecimalField(**_FIGURE)
    after_mm = models.DecimalField(**_FIGURE)

    class Meta:
        ordering = ["point", "number"]
        constraints = [
            models.UniqueConstraint(name="check_pair_number_once", fields=["point", "number"]),
            models.CheckConstraint(name="check_pair_above_zero", condition=Q(before_mm__gt=0, after_mm__gt=0)),
            models.CheckConstraint(name="check_pair_unit_known", condition=Q(unit__in=["mm", "cm", "in"])),
        ]


class Baseline(models.Model):
    """What is held to be usual: the limits that these points gave. The newest holds; it is never reckoned anew."""

    check_of = models.ForeignKey(Check, models.PROTECT, related_name="baselines")
    direction = models.CharField(max_length=6, choices=Direction)
    first = models.ForeignKey(CheckPoint, models.PROTECT, related_name="+")
    last = models.ForeignKey(CheckPoint, models.PROTECT, related_name="+")
    n = models.PositiveSmallIntegerField("points")
    center = models.DecimalField(**_FIGURE)
    lower = models.DecimalField(**_FIGURE)
    upper = models.DecimalField(**_FIGURE)
    mr_bar = models.DecimalField("mean moving range", **_FIGURE)
    note = models.CharField("why these points", max_length=300)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="baseline_limits_in_order",
                condition=Q(lower__lt=F("center"), center__lt=F("upper"), mr_bar__gt=0, n__gte=2),
            ),
            models.CheckConstraint(name="baseline_says_why", condition=~Q(note="")),
        ]
