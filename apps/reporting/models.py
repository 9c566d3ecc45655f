"""The report: frozen facts, the files made from them, and what may follow. Rows are only added."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.intake.models import BelongsToJob, Job, Request
from apps.trail.models import Blob


class Amendment(models.Model):
    """Why an issued report is opened again, and for what. Open until a report closes it with a new revision."""

    report = models.ForeignKey("Report", models.PROTECT, related_name="amendments")
    reason = models.CharField(max_length=500)
    opened_for = models.CharField(max_length=12, choices=Request.OpenedFor)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(name="amendment_has_reason", condition=~Q(reason="")),
            models.UniqueConstraint(name="amendment_once_per_report", fields=["report"]),
        ]


class ReportQuerySet(BelongsToJob):
    job_path = "job"

    def visible_to(self, user):
        """The lab sees every report; a customer those of the own company once the file is there."""
        seen = super().visible_to(user)
        return seen if user.is_authenticated and user.is_staff_of_lab else seen.filter(files__kind=ReportFile.Kind.PDF)


class Report(models.Model):
    """One issued revision. `facts` is the canonical JSON that everything printed is made from."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="reports")
    serial = models.PositiveSmallIntegerField()
    revision = models.PositiveSmallIntegerField(default=0)
    number = models.CharField(max_length=20, unique=True)
    facts = models.TextField()
    facts_sha256 = models.CharField(max_length=64)
    facts_version = models.PositiveSmallIntegerField()
    chain_seq = models.PositiveBigIntegerField(help_text="newest entry of the job's trail when the facts were frozen")
    chain_head = models.CharField(max_length=64)
    verification_code = models.CharField(max_length=20)
    approved_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    approved_at = models.DateTimeField()
    meaning = models.CharField(max_length=100)
    replaces = models.OneToOneField("self", models.PROTECT, null=True, related_name="replaced_by")
    amendment = models.OneToOneField(Amendment, models.PROTECT, null=True, related_name="closed_by")

    objects = ReportQuerySet.as_manager()

    class Meta:
        ordering = ["-approved_at", "-id"]
        constraints = [
            models.UniqueConstraint(name="report_revision_once", fields=["job", "serial", "revision"]),
            models.CheckConstraint(
                name="report_revision_says_what_it_replaces",
                condition=Q(revision=0, replaces__isnull=True, amendment__isnull=True)
                | Q(revision__gte=1, replaces__isnull=False, amendment__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.number


class ReportRequest(models.Model):
    """Which requests a report covers."""

    report = models.ForeignKey(Report, models.PROTECT, related_name="covers")
    request = models.ForeignKey(Request, models.PROTECT, related_name="covered_by")

    class Meta:
        constraints = [models.UniqueConstraint(name="report_covers_request_once", fields=["report", "request"])]


class ReportFile(models.Model):
    """A file built from the facts, once: the PDF. Its bytes are the blob of that SHA-256."""

    class Kind(models.TextChoices):
        PDF = "pdf", "PDF"

    report = models.ForeignKey(Report, models.PROTECT, related_name="files")
    kind = models.CharField(max_length=4, choices=Kind)
    blob = models.ForeignKey(Blob, models.PROTECT, related_name="+")
    created_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(name="report_file_once_per_kind", fields=["report", "kind"])]


class FileDue(models.Model):
    """A file that is still to be made, and how often that was tried. The worker takes these rows."""

    report = models.ForeignKey(Report, models.PROTECT, related_name="files_due")
    kind = models.CharField(max_length=4, choices=ReportFile.Kind)
    next_try_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=500, blank=True)
    done_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(name="file_due_next", fields=["next_try_at"], condition=Q(done_at__isnull=True))]
        constraints = [models.UniqueConstraint(name="file_due_once_per_kind", fields=["report", "kind"])]


class Withdrawal(models.Model):
    """A report that no longer stands, and why."""

    report = models.OneToOneField(Report, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(name="withdrawal_has_reason", condition=~Q(reason=""))]
