"""What came in and how it is to be tested: job, sample, request, specimen."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from apps.accounts.models import Customer, User
from apps.intake.columns import DEVIATIONS, OPENINGS, STAGES, one_of
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod


class JobQuerySet(models.QuerySet["Job"]):
    def visible_to(self, user: User) -> "JobQuerySet":
        """The one door: the lab's people see every job, a customer's person the own company's, anybody else none."""
        if not user.is_authenticated or not user.is_active:
            return self.none()
        if user.customer_id is not None:
            return self.filter(customer_id=user.customer_id)
        return self if user.is_staff_of_lab else self.none()


class BelongsToJob(models.QuerySet):
    """Rows that hang on a job; `job_path` says how."""

    job_path = "job"

    def visible_to(self, user: User):
        if user.is_authenticated and user.is_active and user.is_staff_of_lab:
            return self
        return self.filter(**{f"{self.job_path}__in": Job.objects.visible_to(user)})


class Job(models.Model):
    """Everything that came in together from one customer under one number."""

    class Priority(models.TextChoices):
        NORMAL = "normal", "normal"
        URGENT = "urgent", "urgent"

    number = models.CharField(max_length=9, unique=True)
    customer = models.ForeignKey(Customer, models.PROTECT, related_name="jobs")
    contact = models.CharField(max_length=150, blank=True)
    purchase_order = models.CharField(max_length=80, blank=True)
    received_at = models.DateTimeField()
    received_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    due_on = models.DateField(null=True, blank=True)
    priority = models.CharField(max_length=6, choices=Priority, default=Priority.NORMAL)
    notes = models.TextField(max_length=2000, blank=True)
    unasked = models.BooleanField("nobody has said yet how anything of it is to be tested", default=False)

    objects = JobQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        indexes = [models.Index(name="job_unasked", fields=["id"], condition=Q(unasked=True))]
        constraints = [
            models.CheckConstraint(name="job_has_a_number", condition=~Q(number="")),
            one_of("job_priority_known", priority=("normal", "urgent")),
        ]

    def __str__(self) -> str:
        return self.number

    @property
    def stream(self) -> str:
        return f"job:{self.number}"


class JobSerial(models.Model):
    """The last serial given out in a year. Its row is locked while a number is taken."""

    year = models.PositiveSmallIntegerField(primary_key=True)
    last = models.PositiveIntegerField(default=0)


class SampleQuerySet(BelongsToJob):
    job_path = "job"


class Sample(models.Model):
    """One item that came in: a length of cloth or a garment."""

    class Kind(models.TextChoices):
        FABRIC = "fabric", "fabric"
        GARMENT = "garment", "garment"

    class Construction(models.TextChoices):
        WOVEN = "woven", "woven"
        KNIT = "knit", "knit"
        MIXED = "mixed", "woven and knit in one garment"

    job = models.ForeignKey(Job, models.PROTECT, related_name="samples")
    letter = models.CharField(max_length=2)
    code = models.CharField(max_length=12, unique=True)
    description = models.CharField(max_length=200)
    kind = models.CharField(max_length=7, choices=Kind, default=Kind.FABRIC)
    construction = models.CharField(max_length=5, choices=Construction)
    fibre = models.CharField("fibre content", max_length=200, blank=True)
    mass_gsm = models.DecimalField("mass per area (g/m²)", max_digits=6, decimal_places=1, null=True, blank=True)
    colour = models.CharField(max_length=80, blank=True)
    size = models.CharField("size of the garment", max_length=40, blank=True)
    care_label = models.CharField("care label says", max_length=200, blank=True)
    width_mm = models.DecimalField("width on hand (mm)", max_digits=8, decimal_places=1, null=True, blank=True)
    length_mm = models.DecimalField("length on hand (mm)", max_digits=9, decimal_places=1, null=True, blank=True)
    condition = models.CharField("condition on receipt", max_length=300, blank=True)
    fault = models.CharField("anything wrong with it", max_length=500, blank=True)
    bleeds_or_sheds = models.BooleanField("colour bleed or lint risk", default=False)

    objects = SampleQuerySet.as_manager()

    class Meta:
        ordering = ["job", "id"]
        constraints = [
            models.UniqueConstraint(name="sample_letter_once_per_job", fields=["job", "letter"]),
            one_of("sample_kind_known", kind=("fabric", "garment"), construction=("woven", "knit", "mixed")),
            models.CheckConstraint(
                name="sample_fabric_is_woven_or_knit", condition=~Q(kind="fabric", construction="mixed")
            ),
            models.CheckConstraint(
                name="sample_sizes_above_zero",
                condition=(Q(width_mm__isnull=True) | Q(width_mm__gt=0))
                & (Q(length_mm__isnull=True) | Q(length_mm__gt=0))
                & (Q(mass_gsm__isnull=True) | Q(mass_gsm__gt=0)),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class SamplePlace(models.Model):
    """Where a sample lies, from when on. Added, never changed: a move after the report changes no report."""

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="places")
    place = models.CharField(max_length=120)
    since = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-since", "-id"]


class RequestQuerySet(BelongsToJob):
    job_path = "sample__job"


class Request(models.Model):
    """One way of testing a sample. The row that a report locks."""

    class Lock(models.TextChoices):
        OPEN = "open", "open"
        LOCKED = "locked", "locked"
        AMENDING = "amending", "open for an amendment"

    class OpenedFor(models.TextChoices):
        JOB_DETAILS = "job_details", "job details"
        LIMITS = "limits", "limits"
        READINGS = "readings", "readings"
        CYCLE_RECORD = "cycle_record", "cycle record"
        WORDING = "wording", "wording"

    class DecisionRule(models.TextChoices):
        SIMPLE = "simple", "simple acceptance"
        GUARDED = "guarded", "guarded acceptance"

    sample = models.ForeignKey(Sample, models.PROTECT, related_name="requests")
    ordinal = models.PositiveSmallIntegerField()
    method = models.ForeignKey(TestMethod, models.PROTECT, related_name="+")
    procedure = models.ForeignKey(LaunderingProcedure, models.PROTECT, related_name="+")
    drying = models.ForeignKey(DryingProcedure, models.PROTECT, related_name="+")
    cycles = models.PositiveSmallIntegerField(default=3)
    measured_after = models.CharField(
        "measured after cycles", max_length=150, help_text="such as 1,3; the last cycle always"
    )
    length_lower = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    length_upper = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    width_lower = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    width_upper = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    limits_source = models.CharField("limits come from", max_length=200, blank=True)
    decision_rule = models.CharField(max_length=7, choices=DecisionRule, default=DecisionRule.SIMPLE)
    fewer_reason = models.CharField("why fewer specimens", max_length=300, blank=True)
    lock = models.CharField(max_length=8, choices=Lock, default=Lock.OPEN)
    opened_for = models.CharField(max_length=12, choices=OpenedFor, blank=True)

    objects = RequestQuerySet.as_manager()

    class Meta:
        ordering = ["sample", "ordinal"]
        # Few of all that were ever asked for are not reported yet; every list of work begins with them.
        indexes = [models.Index(name="request_not_locked", fields=["sample"], condition=~Q(lock="locked"))]
        constraints = [
            models.UniqueConstraint(name="request_ordinal_once_per_sample", fields=["sample", "ordinal"]),
            one_of(
                "request_lock_and_rule_known",
                lock=("open", "locked", "amending"),
                decision_rule=("simple", "guarded"),
            ),
            models.CheckConstraint(name="request_one_to_fifty_cycles", condition=Q(cycles__gte=1, cycles__lte=50)),
            models.CheckConstraint(
                name="request_limits_in_order",
                condition=(
                    Q(length_lower__isnull=True) | Q(length_upper__isnull=True) | Q(length_lower__lt=F("length_upper"))
                )
                & (Q(width_lower__isnull=True) | Q(width_upper__isnull=True) | Q(width_lower__lt=F("width_upper"))),
            ),
            models.CheckConstraint(
                name="request_opened_for_only_when_amending",
                condition=Q(lock="amending", opened_for__in=OPENINGS) | (~Q(lock="amending") & Q(opened_for="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sample.code}/{self.ordinal}"

    @property
    def measured_cycles(self) -> list[int]:
        return [int(part) for part in self.measured_after.split(",")]

    def limits(self, direction: str) -> tuple[Decimal | None, Decimal | None]:
        return (self.length_lower, self.length_upper) if direction == "length" else (self.width_lower, self.width_upper)

    @property
    def has_limits(self) -> bool:
        return any(limit is not None for limit in (*self.limits("length"), *self.limits("width")))


class SpecimenQuerySet(BelongsToJob):
    job_path = "request__sample__job"


class Specimen(models.Model):
    """A piece cut from a sample (or a garment) for one request; it carries its code on the cloth."""

    class Stage(models.TextChoices):
        CUT = "cut", "cut"
        MARKED = "marked", "marked"
        READY = "ready", "may be washed"
        IN_LOAD = "in_load", "in a load"
        OWED = "owed", "readings due"
        DONE = "done", "done"
        SET_ASIDE = "set_aside", "set aside"

    request = models.ForeignKey(Request, models.PROTECT, related_name="specimens")
    number = models.PositiveSmallIntegerField()
    code = models.CharField(max_length=15, unique=True)
    stage = models.CharField(max_length=9, choices=Stage, default=Stage.CUT)
    stage_since = models.DateTimeField()
    cycles_valid = models.PositiveSmallIntegerField(default=0)
    times_wetted = models.PositiveSmallIntegerField(default=0)
    set_aside_reason = models.CharField(max_length=300, blank=True)

    objects = SpecimenQuerySet.as_manager()

    class Meta:
        ordering = ["request", "number"]
        indexes = [models.Index(name="specimen_by_stage", fields=["stage"])]
        constraints = [
            one_of("specimen_stage_known", stage=STAGES),
            models.CheckConstraint(
                name="specimen_wetted_at_least_as_often_as_washed", condition=Q(times_wetted__gte=F("cycles_valid"))
            ),
            models.CheckConstraint(
                name="specimen_set_aside_has_reason",
                condition=(Q(stage="set_aside") & ~Q(set_aside_reason=""))
                | (~Q(stage="set_aside") & Q(set_aside_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def short_code(self) -> str:
        """What is written on the cloth: A1."""
        return self.code.rsplit("-", 1)[1]

    @property
    def next_cycle(self) -> int:
        return self.cycles_valid + 1

    @property
    def standing(self) -> str:
        """Where it stands, in words made from facts. Reads the request: fetch it with `select_related`."""
        total = self.request.cycles
        if self.stage == self.Stage.MARKED:
            return "original readings due"
        if self.stage == self.Stage.READY:
            return f"cycle {self.next_cycle} of {total} may be washed"
        if self.stage == self.Stage.IN_LOAD:
            return f"in a load for cycle {self.next_cycle} of {total}"
        if self.stage == self.Stage.OWED:
            return f"after cycle {self.cycles_valid}: readings due"
        if self.stage == self.Stage.SET_ASIDE:
            return f"set aside: {self.set_aside_reason}"
        return self.get_stage_display()


class DeviationQuerySet(BelongsToJob):
    job_path = "job"


class Deviation(models.Model):
    """Anything done otherwise than the method or the lab's rules say. Written at once, printed in the report."""

    class Kind(models.TextChoices):
        FEWER_SPECIMENS = "fewer_specimens", "fewer specimens"
        LOAD = "load", "load"
        WASH = "wash", "wash conditions"
        DRYING = "drying", "drying conditions"
        VOID_CYCLE = "void_cycle", "interrupted cycle"
        READING = "reading", "reading"
        CONDITIONING = "conditioning", "conditioning"
        LATE_ENTRY = "late_entry", "entered late"
        CHANGE = "change", "change of the request after work began"
        OTHER = "other", "other"

    job = models.ForeignKey(Job, models.PROTECT, related_name="deviations")
    request = models.ForeignKey(Request, models.PROTECT, null=True, blank=True, related_name="deviations")
    specimen = models.ForeignKey(Specimen, models.PROTECT, null=True, blank=True, related_name="deviations")
    load_number = models.PositiveBigIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=16, choices=Kind)
    text = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    at_risk = models.BooleanField("done at risk, to be judged by the manager", default=False)
    judged_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    judged_at = models.DateTimeField(null=True, blank=True)
    judgement = models.CharField(max_length=300, blank=True)

    objects = DeviationQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        indexes = [
            models.Index(name="deviation_to_judge", fields=["job"], condition=Q(at_risk=True, judged_at__isnull=True))
        ]
        constraints = [
            one_of("deviation_kind_known", kind=DEVIATIONS),
            models.CheckConstraint(name="deviation_has_text", condition=~Q(text="")),
            models.CheckConstraint(
                name="deviation_judged_whole",
                condition=Q(judged_by__isnull=True, judged_at__isnull=True, judgement="")
                | (Q(judged_by__isnull=False, judged_at__isnull=False) & ~Q(judgement="")),
            ),
        ]


class SendBackQuerySet(BelongsToJob):
    job_path = "request__sample__job"


class SendBack(models.Model):
    """The manager wants something looked at again before approving. Open until it is answered."""

    class To(models.TextChoices):
        BENCH = "bench", "bench"
        LAUNDRY = "laundry", "laundry"
        FRONT_DESK = "front_desk", "front desk"

    request = models.ForeignKey(Request, models.PROTECT, related_name="send_backs")
    to = models.CharField(max_length=10, choices=To)
    reason = models.CharField(max_length=500)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    answer = models.CharField(max_length=500, blank=True)
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)

    objects = SendBackQuerySet.as_manager()

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            one_of("send_back_to_known", to=("bench", "laundry", "front_desk")),
            models.CheckConstraint(name="send_back_has_reason", condition=~Q(reason="")),
            models.UniqueConstraint(
                name="send_back_one_open_per_request", fields=["request"], condition=Q(answered_at__isnull=True)
            ),
            models.CheckConstraint(
                name="send_back_answered_whole",
                condition=Q(answered_by__isnull=True, answered_at__isnull=True, answer="")
                | (Q(answered_by__isnull=False, answered_at__isnull=False) & ~Q(answer="")),
            ),
        ]
