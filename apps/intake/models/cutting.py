"""Where the specimens lay in the cloth: kept when they are cut, and never changed."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.intake.columns import one_of
from apps.intake.models.rows import Request, Specimen

PATTERNS = ("diagonal", "ell", "row", "reduced")


class CutPlan(models.Model):
    """The plan that the specimens of a request were cut by, with the size of the sample as it was then measured."""

    request = models.OneToOneField(Request, models.PROTECT, related_name="cut_plan")
    pattern = models.CharField(max_length=8)
    reason = models.CharField("why no better pattern", max_length=500)
    width_mm = models.DecimalField(max_digits=8, decimal_places=1)
    length_mm = models.DecimalField(max_digits=9, decimal_places=1)
    side_mm = models.DecimalField(max_digits=6, decimal_places=1)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            one_of("cut_plan_pattern_known", pattern=PATTERNS),
            models.CheckConstraint(
                name="cut_plan_sizes_above_zero", condition=Q(width_mm__gt=0, length_mm__gt=0, side_mm__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.request}: {self.pattern}"


class Spot(models.Model):
    """Where one specimen was cut: its lower left corner, from one selvedge and from the lower end."""

    specimen = models.OneToOneField(Specimen, models.PROTECT, related_name="spot")
    x_mm = models.DecimalField(max_digits=8, decimal_places=2)
    y_mm = models.DecimalField(max_digits=9, decimal_places=2)

    class Meta:
        constraints = [
            models.CheckConstraint(name="spot_within_the_cloth", condition=Q(x_mm__gte=0, y_mm__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.specimen}: {self.x_mm}, {self.y_mm}"
