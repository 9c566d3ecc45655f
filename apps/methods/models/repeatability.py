"""How far readings of one thing differ, as the lab found it out by reading twice."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.methods.models.rows import TestMethod

_PERCENT = {"max_digits": 20, "decimal_places": 12}


class RepeatabilityFigure(models.Model):
    """What a study of repeated readings came to, adopted by a manager for results by this edition; the newest holds.

    Standard deviations of one reading in percent: of the distance that was read, or, of a shrinkage scale, of the
    change itself.
    """

    class Scale(models.TextChoices):
        DISTANCE = "distance", "distances"
        PERCENT = "percent", "a scale in percent"

    method = models.ForeignKey(TestMethod, models.PROTECT, related_name="repeatabilities")
    direction = models.CharField(max_length=6, choices=[("length", "length"), ("width", "width")])
    scale = models.CharField(max_length=8, choices=Scale)
    repeatability = models.DecimalField("one person, %", **_PERCENT)
    with_people = models.DecimalField("any person, %", **_PERCENT)
    n = models.PositiveIntegerField("readings")
    people = models.PositiveSmallIntegerField()
    dof = models.PositiveIntegerField("degrees of freedom of one person's")
    on = models.DateField("read until")
    study = models.PositiveIntegerField(unique=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", db_index=False)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="repeatability_known",
                condition=Q(direction__in=["length", "width"], scale__in=["distance", "percent"]),
            ),
            models.CheckConstraint(
                name="repeatability_of_people",
                condition=Q(
                    with_people__gt=0, repeatability__gte=0, with_people__gte=F("repeatability"), people__gte=2
                ),
            ),
            models.CheckConstraint(name="repeatability_has_dof", condition=Q(dof__gte=1, n__gt=F("dof"))),
        ]

    @property
    def percent(self) -> Decimal:
        """What a result reckons with: whoever reads it."""
        return self.with_people
