"""The report: frozen facts, the files made from them, and what may follow. Rows are only added."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.core.columns import void_is_whole
from apps.intake.models import BelongsToJob, Job, Request, Sample
from apps.methods.models import TestMethod
from apps.trail.models import Blob


class AmendmentQuerySet(models.QuerySet["Amendment"]):
    def still_open(self) -> "AmendmentQuerySet":
        """Neither a revision nor a closing without change has ended it."""
        return self.filter(closed_by=None, closing=None)


class Amendment(models.Model):
    """Why an issued report is opened again, and for what. Open until a new revision, or a closing, ends it."""

    report = models.ForeignKey("Report", models.PROTECT, related_name="amendments")
    reason = models.CharField(max_length=500)
    opened_for = models.CharField(max_length=12, choices=Request.OpenedFor)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = AmendmentQuerySet.as_manager()

    class Meta:
        constraints = [models.CheckConstraint(name="amendment_has_reason", condition=~Q(reason=""))]


class AmendmentClosing(models.Model):
    """An amendment that came to nothing: what was looked into was right, and the report stays in force."""

    amendment = models.OneToOneField(Amendment, models.PROTECT, related_name="closing")
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(name="amendment_closing_has_reason", condition=~Q(reason=""))]


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
    interim = models.BooleanField(default=False, help_text="says how far the work is, and locks nothing")
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
            models.CheckConstraint(name="report_interim_is_no_revision", condition=Q(interim=False) | Q(revision=0)),
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
        indexes = [
            models.Index(name="file_due_next", fields=["next_try_at"], condition=Q(done_at__isnull=True)),
            models.Index(name="file_due_by_done", fields=["done_at"]),
        ]
        constraints = [models.UniqueConstraint(name="file_due_once_per_kind", fields=["report", "kind"])]


class Withdrawal(models.Model):
    """A report that no longer stands, and why."""

    report = models.OneToOneField(Report, models.PROTECT, related_name="withdrawal")
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(name="withdrawal_has_reason", condition=~Q(reason=""))]


class Signatory(models.Model):
    """Who may sign reports on a method's exact edition (ISO/IEC 17025 6.2.6), and whether in another's absence."""

    method = models.ForeignKey(TestMethod, models.PROTECT, related_name="signatories")
    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="signs_for")
    deputy = models.BooleanField("as deputy", default=False)
    since = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    end_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                name="signatory_once_per_method", fields=["method", "person"], condition=Q(ended_at__isnull=True)
            ),
            models.CheckConstraint(
                name="signatory_ended_whole",
                condition=Q(ended_at__isnull=True, ended_by__isnull=True, end_reason="")
                | (Q(ended_at__isnull=False, ended_by__isnull=False) & ~Q(end_reason="")),
            ),
        ]

    @property
    def word(self) -> str:
        return "deputy signatory" if self.deputy else "signatory"


class Retest(models.Model):
    """A request that tests anew, with new specimens, what another has tested. The first result stays; both are told."""

    class AskedBy(models.TextChoices):
        CUSTOMER = "customer", "the customer"
        LAB = "lab", "the laboratory"

    request = models.OneToOneField(Request, models.PROTECT, related_name="retest")
    first = models.ForeignKey(Request, models.PROTECT, related_name="retests")
    asked_by = models.CharField(max_length=8, choices=AskedBy)
    reason = models.CharField(max_length=500)
    cause = models.CharField("cause found for the first result", max_length=500, blank=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.CheckConstraint(name="retest_has_reason", condition=~Q(reason=""))]


class Cancellation(models.Model):
    """A request that is no longer to be carried out, or whose sample was withdrawn."""

    request = models.OneToOneField(Request, models.PROTECT, related_name="cancellation")
    asked_by = models.CharField("who asked for it", max_length=150)
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(name="cancellation_has_reason", condition=~Q(reason="") & ~Q(asked_by=""))
        ]


class ExternalResult(models.Model):
    """What another laboratory found of a sample (ISO/IEC 17025 6.6, 7.8.2.1 p): told, and marked as theirs."""

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="external_results")
    laboratory = models.CharField(max_length=200)
    accreditation = models.CharField("its accreditation for this test", max_length=200, blank=True)
    test = models.CharField("what was tested, and how", max_length=200)
    result = models.CharField("result with its unit", max_length=200)
    reference = models.CharField("their report", max_length=100)
    consent = models.CharField("who of the customer agreed, and when", max_length=200)
    file = models.ForeignKey(Blob, models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    void_reason = models.CharField(max_length=300, blank=True)
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    voided_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="external_result_is_whole",
                condition=~Q(laboratory="") & ~Q(test="") & ~Q(result="") & ~Q(reference="") & ~Q(consent=""),
            ),
            void_is_whole("external_result_voided_whole"),
        ]


class Nonconformity(models.Model):
    """Work or a result that was not as it should be (ISO/IEC 17025 7.10), or a complaint: what it was. What followed
    stands in its notes."""

    class Kind(models.TextChoices):
        WORK = "work", "nonconforming work"
        COMPLAINT = "complaint", "complaint"

    kind = models.CharField(max_length=9, choices=Kind, default=Kind.WORK)
    title = models.CharField(max_length=150)
    what = models.TextField(max_length=2000)
    found_on = models.DateField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [models.CheckConstraint(name="nonconformity_says_what", condition=~Q(title="") & ~Q(what=""))]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.pk}"


class NonconformityJob(models.Model):
    """A job that it touches."""

    nonconformity = models.ForeignKey(Nonconformity, models.PROTECT, related_name="touches")
    job = models.ForeignKey(Job, models.PROTECT, related_name="nonconformities")

    class Meta:
        constraints = [models.UniqueConstraint(name="nonconformity_job_once", fields=["nonconformity", "job"])]


class NonconformityNote(models.Model):
    """What was done about it, in the order in which it was."""

    class Kind(models.TextChoices):
        HALTED = "halted", "work halted or reports withheld"
        JUDGED = "judged", "what it means, also for earlier results"
        TOLD = "told", "customers told"
        CORRECTED = "corrected", "corrective action"
        RESUMED = "resumed", "work goes on, authorised"
        CLOSED = "closed", "closed"

    nonconformity = models.ForeignKey(Nonconformity, models.PROTECT, related_name="notes")
    kind = models.CharField(max_length=9, choices=Kind)
    text = models.TextField(max_length=2000)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]
        constraints = [models.CheckConstraint(name="nonconformity_note_has_text", condition=~Q(text=""))]
