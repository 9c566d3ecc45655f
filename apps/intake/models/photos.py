"""Photos of what came in and of specimens after laundering, and which of them a report shows."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.intake.columns import one_of
from apps.intake.models.rows import BelongsToJob, Request, Sample, Specimen
from apps.trail.models import Blob


class PhotoQuerySet(BelongsToJob):
    job_path = "sample__job"


class Photo(models.Model):
    """One photo. Its bytes lie in the store by their SHA-256 and are read only to be shown. Added, never changed."""

    class Kind(models.TextChoices):
        RECEIVED = "received", "as received"
        LAUNDERED = "laundered", "after laundering"

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="photos")
    specimen = models.ForeignKey(Specimen, models.PROTECT, null=True, related_name="photos")
    kind = models.CharField(max_length=9, choices=Kind)
    caption = models.CharField(max_length=200, blank=True)
    blob = models.ForeignKey(Blob, models.PROTECT, related_name="+")
    preview = models.ForeignKey(Blob, models.PROTECT, related_name="+")
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = PhotoQuerySet.as_manager()

    class Meta:
        ordering = ["sample", "id"]
        constraints = [
            models.UniqueConstraint(name="photo_once_per_sample", fields=["sample", "blob"]),
            one_of("photo_kind_known", kind=("received", "laundered")),
            models.CheckConstraint(
                name="photo_after_laundering_is_of_a_specimen",
                condition=Q(kind="received", specimen__isnull=True) | Q(kind="laundered", specimen__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.of}, {self.get_kind_display()}"

    @property
    def of(self) -> str:
        """A or A1. Reads sample and specimen: fetch it with `select_related`."""
        return self.specimen.short_code if self.specimen else self.sample.letter


class ChosenPhotoQuerySet(BelongsToJob):
    job_path = "request__sample__job"


class ChosenPhoto(models.Model):
    """Whether the report on a request shows a photo."""

    request = models.ForeignKey(Request, models.PROTECT, related_name="chosen_photos")
    photo = models.ForeignKey(Photo, models.PROTECT, related_name="choices")
    chosen = models.BooleanField(default=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = ChosenPhotoQuerySet.as_manager()

    class Meta:
        ordering = ["request", "photo"]
        constraints = [models.UniqueConstraint(name="photo_chosen_once_per_request", fields=["request", "photo"])]
