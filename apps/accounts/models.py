"""People, the companies the lab works for, and the lab's own settings."""

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from apps.trail.models import Blob


class Role(models.TextChoices):
    FRONT_DESK = "front_desk", "front desk"
    BENCH = "bench", "bench technician"
    LAUNDRY = "laundry", "laundry operator"
    MANAGER = "manager", "lab manager"
    CUSTOMER = "customer", "customer"


STAFF_ROLES = (Role.FRONT_DESK, Role.BENCH, Role.LAUNDRY, Role.MANAGER)


class Customer(models.Model):
    """A company that sends cloth."""

    name = models.CharField(max_length=150, unique=True)
    address = models.TextField(max_length=500, blank=True)
    contact = models.CharField(max_length=150, blank=True)
    email = models.EmailField(blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(name="customer_has_a_name", condition=~Q(name=""))]

    def __str__(self) -> str:
        return self.name


class UserManager(BaseUserManager["User"]):
    def create_user(self, username: str, password: str | None = None, **fields) -> "User":
        user = self.model(username=username, **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser):
    """A person. Several roles in the lab, or a customer's person of one company; deactivated, never deleted."""

    username = models.CharField("user name", max_length=60, unique=True)
    full_name = models.CharField(max_length=150)
    email = models.EmailField(blank=True)
    is_active = models.BooleanField("may sign in", default=True)
    front_desk = models.BooleanField(default=False)
    bench = models.BooleanField("bench technician", default=False)
    laundry = models.BooleanField("laundry operator", default=False)
    manager = models.BooleanField("lab manager", default=False)
    customer = models.ForeignKey(Customer, models.PROTECT, null=True, blank=True, related_name="people")

    objects = UserManager()

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS = ["full_name"]

    class Meta:
        ordering = ["full_name"]
        constraints = [
            models.CheckConstraint(
                name="user_is_of_the_lab_or_of_a_customer",
                condition=Q(customer__isnull=True) | Q(front_desk=False, bench=False, laundry=False, manager=False),
            ),
            models.CheckConstraint(name="user_has_a_name", condition=~Q(full_name="") & ~Q(username="")),
        ]

    def __str__(self) -> str:
        return self.full_name

    @property
    def roles(self) -> frozenset[Role]:
        if self.customer_id is not None:
            return frozenset({Role.CUSTOMER})
        return frozenset(role for role in STAFF_ROLES if getattr(self, role.value))

    @property
    def role_words(self) -> str:
        """The roles as a person reads them, in the order of the work."""
        return ", ".join(role.label for role in Role if role in self.roles)

    @property
    def is_staff_of_lab(self) -> bool:
        return self.customer_id is None and bool(self.roles)


class Lab(models.Model):
    """The lab's own settings, one row."""

    class Tie(models.TextChoices):
        EVEN = "even", "to the even figure (ASTM E29, ISO 80000-1 rule A)"
        AWAY = "away", "away from zero (ISO 80000-1 rule B)"

    class MixRule(models.TextChoices):
        REFUSE = "refuse", "refuse a load of woven and knit together"
        WARN = "warn", "allow it and write it down as a deviation"

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=150, default="This laboratory")
    address = models.TextField(max_length=500, blank=True)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=60, blank=True)
    location = models.CharField("where the work is done", max_length=200, blank=True)
    accreditation = models.CharField(
        "accreditation, as reports within its scope say it",
        max_length=200,
        blank=True,
        help_text="Such as: accredited to ISO/IEC 17025 by …, no. …. Empty: none is claimed.",
    )
    logo = models.ForeignKey(Blob, models.PROTECT, null=True, blank=True, editable=False, related_name="+")
    tie = models.CharField("a figure exactly between two", max_length=4, choices=Tie, default=Tie.EVEN)
    mix_rule = models.CharField("woven with knit", max_length=6, choices=MixRule, default=MixRule.REFUSE)
    reader_may_approve = models.BooleanField("who read a value may approve its report", default=False)
    # Bounds of what a lab can mean: beyond them its pages could not reckon a finish, or the database not hold it.
    late_entry_hours = models.PositiveSmallIntegerField(
        "an entry is late after (hours)", default=4, validators=[MaxValueValidator(720)]
    )
    opens_at = models.TimeField(default="08:00")
    closes_at = models.TimeField(default="17:00")
    wash_minutes = models.PositiveSmallIntegerField(
        "a wash takes about (minutes)", default=60, validators=[MinValueValidator(1), MaxValueValidator(720)]
    )
    tumble_minutes = models.PositiveSmallIntegerField(
        "tumble drying takes about (minutes)", default=60, validators=[MinValueValidator(1), MaxValueValidator(720)]
    )
    air_dry_hours = models.PositiveSmallIntegerField(
        "air drying takes about (hours)", default=16, validators=[MinValueValidator(1), MaxValueValidator(168)]
    )
    water_hardness = models.CharField(
        "hardness of the water",
        max_length=60,
        blank=True,
        help_text="As tested last, with the date. Written into each wash and printed in the report.",
    )
    retention_years = models.PositiveSmallIntegerField(
        "records are kept for (years)", default=10, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    is_demo = models.BooleanField(default=False, editable=False)

    class Meta:
        constraints = [models.CheckConstraint(name="lab_is_one_row", condition=Q(id=1))]

    def __str__(self) -> str:
        return self.name


class TokenQuerySet(models.QuerySet["Token"]):
    def visible_to(self, user: User) -> "TokenQuerySet":
        """The own tokens; a manager's eyes see everybody's."""
        if not user.is_authenticated or not user.is_active:
            return self.none()
        return self if user.customer_id is None and user.manager else self.filter(person=user)


class Token(models.Model):
    """The way in for a program of one person, for one purpose. It may what its person may, as long as both hold.

    The text is shown once and kept as its SHA-256 only: it is long and made by chance, so that nobody finds it by
    trying.
    """

    person = models.ForeignKey(User, models.PROTECT, related_name="tokens")
    name = models.CharField("what it is for", max_length=80)
    sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ends_on = models.DateField("last day it holds")
    last_used_on = models.DateField(null=True)
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    objects = TokenQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.UniqueConstraint(
                name="token_once_per_purpose", fields=["person", "name"], condition=Q(ended_at__isnull=True)
            ),
            models.CheckConstraint(name="token_has_a_purpose", condition=~Q(name="") & ~Q(sha256="")),
            models.CheckConstraint(
                name="token_ended_whole",
                condition=Q(ended_at__isnull=True, ended_by__isnull=True)
                | Q(ended_at__isnull=False, ended_by__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Outgoing(models.Model):
    """A letter on its way. Written in the transaction that causes it, sent by the worker, tried again when it fails."""

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField()
    last_error = models.CharField(max_length=500, blank=True)

    class Meta:
        indexes = [models.Index(name="outgoing_unsent", fields=["next_try_at"], condition=Q(sent_at__isnull=True))]


class Asked(models.Model):
    """How often one address has asked what anybody may ask, since when. Forgotten when the stretch is over."""

    name = models.CharField(max_length=80, unique=True)
    since = models.DateTimeField(db_index=True)
    times = models.PositiveIntegerField()
