"""The numbers behind the rows, what the lab says about them, and where garments are measured."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class FigureQuerySet(models.QuerySet["Figure"]):
    def unconfirmed(self) -> "FigureQuerySet":
        """Below high, and nobody has held them against the lab's own copy of the standard."""
        return self.exclude(confidence=Figure.Confidence.HIGH).filter(confirmations__isnull=True)

    def with_confirmations(self) -> "FigureQuerySet":
        said = Confirmation.objects.select_related("by").order_by("ordinal")
        columns = ("figure", "ordinal", "was", "value", "note", "at", "by__full_name")
        return self.prefetch_related(models.Prefetch("confirmations", said.only(*columns)))


class Figure(models.Model):
    """One number of the catalogue with where it comes from. Below high, the lab confirms it first.

    The row stays as the catalogue has it. What the lab says about it stands in its confirmations; the newest holds.
    """

    class Confidence(models.TextChoices):
        HIGH = "H", "high"
        MEDIUM = "M", "medium"
        LOW = "L", "low"
        UNKNOWN = "U", "not known"

    owner = models.CharField(max_length=80, help_text="method:<code>, procedure:<code>, drying:<code>, extra:<code>")
    name = models.CharField(max_length=80)
    value = models.CharField(max_length=300, blank=True, help_text="empty: not known, the lab sets it")
    source = models.CharField(max_length=300)
    confidence = models.CharField(max_length=1, choices=Confidence)
    field = models.CharField(max_length=40, blank=True, help_text="the owner's column that holds the same number")

    objects = FigureQuerySet.as_manager()

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
    def standing(self) -> "Confirmation | None":
        """The newest word of the lab on it. Lists fetch `with_confirmations`."""
        said = list(self.confirmations.all())
        return said[-1] if said else None

    @property
    def stands(self) -> str:
        """The value that holds now."""
        return self.standing.value if self.standing else self.value

    @property
    def to_confirm(self) -> bool:
        return self.confidence != self.Confidence.HIGH and self.standing is None

    @property
    def is_known(self) -> bool:
        return bool(self.stands)


class Confirmation(models.Model):
    """A manager held a figure against the lab's own copy of the standard: it holds, or another value does."""

    figure = models.ForeignKey(Figure, models.PROTECT, related_name="confirmations")
    ordinal = models.PositiveSmallIntegerField(help_text="the newest holds")
    was = models.CharField(max_length=300, blank=True, help_text="what stood until then")
    value = models.CharField(max_length=300, help_text="what holds from then on")
    note = models.CharField("where it stands in the lab's copy", max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["figure", "ordinal"]
        constraints = [
            models.UniqueConstraint(name="confirmation_one_after_another", fields=["figure", "ordinal"]),
            models.CheckConstraint(name="confirmation_ordinal_from_one", condition=Q(ordinal__gte=1)),
            models.CheckConstraint(name="confirmation_has_value_and_note", condition=~Q(value="") & ~Q(note="")),
        ]

    @property
    def overrides(self) -> bool:
        return self.was != self.value


class MeasuringPoint(models.Model):
    """A place on a garment between whose two marks is measured. It counts as length or as width, never as both."""

    class Garment(models.TextChoices):
        TOP = "top", "top"
        TROUSERS = "trousers", "trousers"
        SKIRT = "skirt", "skirt"
        DRESS = "dress", "dress"
        PYJAMA_TOP = "pyjama_top", "pyjama top"
        PYJAMA_BOTTOM = "pyjama_bottom", "pyjama bottom"

    class Direction(models.TextChoices):
        LENGTH = "length", "length"
        WIDTH = "width", "width"

    garment = models.CharField(max_length=15, choices=Garment)
    number = models.PositiveSmallIntegerField(help_text="as on the drawing of the garment")
    name = models.CharField(max_length=60)
    direction = models.CharField(max_length=6, choices=Direction)
    left_and_right = models.BooleanField(default=False, help_text="measured on either side, and the sides kept apart")
    sentence = models.CharField("where the mark goes", max_length=300)
    source = models.CharField(max_length=300)
    confidence = models.CharField(max_length=1, choices=Figure.Confidence)

    class Meta:
        ordering = ["garment", "number"]
        constraints = [
            models.UniqueConstraint(name="point_number_once_a_garment", fields=["garment", "number"]),
            models.UniqueConstraint(name="point_name_once_a_garment", fields=["garment", "name"]),
            models.CheckConstraint(name="point_is_length_or_width", condition=Q(direction__in=["length", "width"])),
            models.CheckConstraint(name="point_has_sentence_and_source", condition=~Q(sentence="") & ~Q(source="")),
        ]

    def __str__(self) -> str:
        return f"{self.get_garment_display()} {self.number}: {self.name}"
