"""Machines and instruments: what they are, where they stand, whether they may be used today."""

from datetime import date

from django.db import models
from django.db.models import Q


class Equipment(models.Model):
    """A washer, a dryer, or an instrument that measures. It keeps its name in the lab for good and is never deleted."""

    class Kind(models.TextChoices):
        WASHER = "washer", "washer"
        DRYER = "dryer", "dryer"
        RULE = "rule", "rule or tape"
        BALANCE = "balance", "balance"
        THERMOMETER = "thermometer", "thermometer"

    name = models.CharField("name in the lab", max_length=60, unique=True)
    kind = models.CharField(max_length=12, choices=Kind)
    maker = models.CharField("maker and type", max_length=120, blank=True)
    serial_number = models.CharField(max_length=80, blank=True)
    location = models.CharField(max_length=120, blank=True)
    calibration_due = models.DateField("calibration or verification due", null=True, blank=True)
    out_of_service = models.CharField("out of service because", max_length=200, blank=True)

    class Meta:
        ordering = ["kind", "name"]
        verbose_name_plural = "equipment"
        constraints = [models.CheckConstraint(name="equipment_has_a_name", condition=~Q(name=""))]

    def __str__(self) -> str:
        return self.name

    def overdue(self, on: date) -> bool:
        return self.calibration_due is not None and self.calibration_due < on
