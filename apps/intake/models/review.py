"""The look at the contract before work starts."""

from django.conf import settings
from django.db import models

from apps.intake.columns import one_of
from apps.intake.models.rows import Request


class ContractReview(models.Model):
    """The look before work starts (ISO/IEC 17025 7.1): can we, is there enough, is it agreed, who checked."""

    class CareLabel(models.TextChoices):
        AGREES = "agrees", "they go together"
        CONTRADICTS = "contradicts", "the procedure contradicts the label"

    request = models.OneToOneField(Request, models.PROTECT, related_name="contract_review")
    can_do = models.BooleanField("we can do it")
    enough_cloth = models.BooleanField("there is enough cloth")
    agreed = models.BooleanField("method, limits, rule and deviations are agreed")
    label = models.CharField(
        "the procedure and the care label",
        max_length=11,
        choices=CareLabel,
        blank=True,
        default="",
        help_text="as the desk read it; empty: there is none, or nobody looked",
    )
    remark = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [one_of("review_label_known", label=("", "agrees", "contradicts"))]

    @property
    def contradicts_label(self) -> bool:
        return self.label == self.CareLabel.CONTRADICTS
