"""Machines and instruments: what they are, where they stand, whether they may be used today."""

from datetime import date

from django.db import models
from django.db.models import Q


class Equipment(models.Model):
    """A washer, a dryer, or an instrument that measures. Never deleted; it keeps the name that a run stands under."""

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
    version = models.PositiveIntegerField(
        default=1, editable=False, help_text="counts the changes; a page sends it back"
    )

    class Meta:
        ordering = ["kind", "name"]
        verbose_name_plural = "equipment"
        constraints = [
            models.CheckConstraint(name="equipment_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="equipment_kind_known",
                condition=Q(kind__in=["washer", "dryer", "rule", "balance", "thermometer"]),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def stream(self) -> str:
        return f"equipment:{self.pk}"

    @property
    def in_service(self) -> bool:
        return not self.out_of_service

    def overdue(self, on: date) -> bool:
        return self.calibration_due is not None and self.calibration_due < on
