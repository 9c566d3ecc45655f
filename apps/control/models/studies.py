"""Studies of repeated readings: who reads what, and what was read."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.control.models.checks import Direction
from apps.core.columns import PERSON, void_is_whole
from apps.methods.models import TestMethod


class Study(models.Model):
    """The same pieces are read by several people, none of whom sees what the others read before their own is kept."""

    method = models.ForeignKey(TestMethod, models.PROTECT, related_name="studies")
    direction = models.CharField(max_length=6, choices=Direction)
    unit = models.CharField(max_length=3, choices=[("mm", "mm"), ("cm", "cm"), ("in", "in"), ("pct", "%")])
    trials = models.PositiveSmallIntegerField("times that each person reads a piece")
    note = models.CharField("why it is made", max_length=300, blank=True)
    readers = models.ManyToManyField(settings.AUTH_USER_MODEL, through="StudyReader", related_name="+")
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="study_of_known",
                condition=Q(direction__in=Direction.values, unit__in=["mm", "cm", "in", "pct"], trials__gte=2),
            ),
        ]

    def __str__(self) -> str:
        return f"Study {self.pk}: {self.direction} by {self.method}"

    @property
    def stream(self) -> str:
        return f"study:{self.pk}"

    @property
    def scale(self) -> str:
        """As a RepeatabilityFigure names it."""
        return "percent" if self.unit == "pct" else "distance"


class StudyReader(models.Model):
    study = models.ForeignKey(Study, models.PROTECT, related_name="planned")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        constraints = [models.UniqueConstraint(name="study_reader_once", fields=["study", "person"])]


class StudyPiece(models.Model):
    """What each person reads: a distance on a specimen, say."""

    study = models.ForeignKey(Study, models.PROTECT, related_name="pieces")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)

    class Meta:
        ordering = ["study", "number"]
        constraints = [
            models.UniqueConstraint(name="study_piece_number_once", fields=["study", "number"]),
            models.CheckConstraint(name="study_piece_has_name", condition=~Q(name="")),
        ]

    def __str__(self) -> str:
        return self.name


class StudyReading(models.Model):
    """One reading of one piece, as typed and in millimetres or percent. Never changed: void, and read anew."""

    piece = models.ForeignKey(StudyPiece, models.PROTECT, related_name="readings")
    trial = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=32)
    value = models.DecimalField(max_digits=20, decimal_places=12)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True)
    voided_by = models.ForeignKey(**PERSON, null=True)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["piece", "by", "trial", "id"]
        constraints = [
            models.UniqueConstraint(
                name="study_reading_once", fields=["piece", "by", "trial"], condition=Q(voided_at__isnull=True)
            ),
            models.CheckConstraint(name="study_reading_trial_from_one", condition=Q(trial__gte=1)),
            void_is_whole("study_reading_void_is_whole"),
        ]
