"""What a customer says beforehand: what is coming and how it is to be tested. The front desk makes a job of it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.accounts.models import Customer, User
from apps.intake.models.rows import Job


class AnnouncementQuerySet(models.QuerySet["Announcement"]):
    def visible_to(self, user: User) -> "AnnouncementQuerySet":
        """The lab's people see every one, a customer's person the own company's."""
        if not user.is_authenticated or not user.is_active:
            return self.none()
        if user.customer_id is not None:
            return self.filter(customer_id=user.customer_id)
        return self if user.is_staff_of_lab else self.none()

    def waiting(self) -> "AnnouncementQuerySet":
        return self.filter(job=None, withdrawn_at=None)


class Announcement(models.Model):
    """A parcel on its way. What was typed stays as typed; the job that it became says what is true."""

    customer = models.ForeignKey(Customer, models.PROTECT, related_name="announcements")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    purchase_order = models.CharField(max_length=80, blank=True)
    expected_on = models.DateField(null=True, blank=True)
    remark = models.TextField(max_length=2000, blank=True)
    samples = models.JSONField(help_text="a list, each the fields of a sample as they were typed")
    test = models.JSONField(help_text="the fields of a way of testing as they were typed, empty where left to the lab")
    job = models.OneToOneField(Job, models.PROTECT, null=True, blank=True, related_name="announcement")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = AnnouncementQuerySet.as_manager()

    class Meta:
        ordering = ["expected_on", "pk"]
        constraints = [
            models.CheckConstraint(
                name="announcement_received_or_withdrawn", condition=Q(job__isnull=True) | Q(withdrawn_at__isnull=True)
            )
        ]
        indexes = [
            models.Index(
                name="announcement_waiting",
                fields=["customer"],
                condition=Q(job__isnull=True, withdrawn_at__isnull=True),
            )
        ]

    @property
    def stream(self) -> str:
        return f"customer:{self.customer_id}"

    @property
    def what(self) -> str:
        """The first thing that comes and how many more, for lists."""
        rest = len(self.samples) - 1
        return self.samples[0]["description"] + (f" and {rest} more" if rest else "")
