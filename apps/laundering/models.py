"""Wash runs, drying runs, the cycle log, and taps that came too late to fit."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from apps.accounts.models import User
from apps.core.columns import void_is_whole
from apps.equipment.models import Calibration, Equipment
from apps.intake.models import BelongsToJob, Specimen
from apps.methods.models import DryingProcedure, LaunderingProcedure


class OfTheLab(models.QuerySet):
    """Runs hold pieces of several customers: the lab's people see them all, nobody else any."""

    def visible_to(self, user: User):
        return self if user.is_authenticated and user.is_active and user.is_staff_of_lab else self.none()


class WashConditions(models.Model):
    """What is written down of a wash run. The total on the balance is the record of the mass."""

    class TempSource(models.TextChoices):
        DIP = "dip", "dip thermometer in the drum"
        DISPLAY = "display", "machine display or logger"
        VERIFIED = "verified", "dated verification of the machine"

    washer = models.ForeignKey(Equipment, models.PROTECT, null=True, related_name="+")
    specimen_mass_g = models.DecimalField("specimens (g)", max_digits=7, decimal_places=1, null=True)
    ballast_mass_g = models.DecimalField("ballast (g)", max_digits=7, decimal_places=1, null=True)
    ballast_pieces = models.PositiveSmallIntegerField("ballast pieces", null=True)
    ballast = models.CharField("ballast type", max_length=120, blank=True)
    detergent = models.CharField(max_length=120, blank=True)
    detergent_lot = models.CharField("lot", max_length=60, blank=True)
    detergent_g = models.DecimalField("detergent (g)", max_digits=6, decimal_places=1, null=True)
    water_temp_c = models.DecimalField("measured wash temperature (°C)", max_digits=4, decimal_places=1, null=True)
    temp_source = models.CharField("measured by", max_length=8, choices=TempSource, blank=True)
    # What was measured with: an instrument of the lab, or the verification of the machine that was relied upon.
    thermometer = models.ForeignKey(Equipment, models.PROTECT, null=True, related_name="+")
    verification = models.ForeignKey(Calibration, models.PROTECT, null=True, related_name="+")
    balance = models.ForeignKey(Equipment, models.PROTECT, null=True, related_name="+")
    programme = models.CharField("programme set", max_length=60, blank=True)
    water_level = models.CharField("water level set", max_length=60, blank=True)
    water_hardness = models.CharField("water hardness", max_length=60, blank=True)
    rinse_temp_c = models.DecimalField("rinse temperature (°C)", max_digits=4, decimal_places=1, null=True)
    spun = models.BooleanField("last spin done", null=True)
    wash_started_at = models.DateTimeField(null=True)
    wash_ended_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True

    @property
    def total_mass_g(self) -> Decimal | None:
        if self.specimen_mass_g is None or self.ballast_mass_g is None:
            return None
        return self.specimen_mass_g + self.ballast_mass_g


class Load(WashConditions):
    """One wash run: pieces of one or several jobs in one drum. Frozen when closed; a LoadCorrection puts it right."""

    class State(models.TextChoices):
        MADE_UP = "made_up", "made up"
        WASHING = "washing", "washing"
        WASHED = "washed", "washed"
        VOID = "void", "void"

    procedure = models.ForeignKey(LaunderingProcedure, models.PROTECT, related_name="+")
    state = models.CharField(max_length=7, choices=State, default=State.MADE_UP)
    made_up_at = models.DateTimeField()
    made_up_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    wash_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    objects = OfTheLab.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(name="load_by_wash_start", fields=["wash_started_at"])]
        constraints = [
            models.UniqueConstraint(
                name="load_one_running_per_washer", fields=["washer"], condition=Q(state="washing")
            ),
            models.CheckConstraint(
                name="load_void_has_reason",
                condition=(Q(state="void") & ~Q(void_reason="")) | (~Q(state="void") & Q(void_reason="")),
            ),
            models.CheckConstraint(
                name="load_washing_is_weighed_and_started",
                condition=Q(state__in=["made_up", "void"])
                | Q(
                    washer__isnull=False,
                    specimen_mass_g__gt=0,
                    ballast_mass_g__gte=0,
                    water_temp_c__isnull=False,
                    detergent_g__gte=0,
                    wash_started_at__isnull=False,
                    wash_by__isnull=False,
                ),
            ),
            models.CheckConstraint(
                name="load_washed_has_ended",
                condition=~Q(state="washed")
                | Q(wash_ended_at__isnull=False, wash_ended_at__gte=models.F("wash_started_at")),
            ),
        ]

    def __str__(self) -> str:
        return f"Load {self.pk}"

    @property
    def stream(self) -> str:
        return f"load:{self.pk}"


class LoadCorrection(WashConditions):
    """What a closed load's record should have said: a whole row that supersedes, with who and why. The newest holds."""

    load = models.ForeignKey(Load, models.PROTECT, related_name="corrections")
    revision = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["load_id", "revision"]
        constraints = [
            models.UniqueConstraint(name="load_correction_revision_once", fields=["load", "revision"]),
            models.CheckConstraint(name="load_correction_has_reason", condition=~Q(reason="")),
        ]

    @property
    def title(self) -> str:
        return f"correction {self.revision}"


class DryingConditions(models.Model):
    """What is written down of a drying run."""

    class Dryness(models.TextChoices):
        DRY = "dry", "dry"
        DAMP = "damp", "still damp in places"

    dryer = models.ForeignKey(Equipment, models.PROTECT, null=True, blank=True, related_name="+")
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    lint_filter_cleaned = models.BooleanField(default=False)
    exhaust_c = models.DecimalField("hottest exhaust (°C)", max_digits=4, decimal_places=1, null=True)
    cooled_down = models.BooleanField("cool-down ran to its end", null=True)
    dryness = models.CharField("final dryness", max_length=4, choices=Dryness, blank=True)
    longer_minutes = models.PositiveSmallIntegerField("dried longer by (minutes)", null=True)
    remark = models.CharField(max_length=300, blank=True)

    class Meta:
        abstract = True


class Drying(DryingConditions):
    """One drying run. Pieces of one wash may part here; air drying holds no machine."""

    class State(models.TextChoices):
        RUNNING = "running", "drying"
        DRIED = "dried", "dried"
        VOID = "void", "void"

    procedure = models.ForeignKey(DryingProcedure, models.PROTECT, related_name="+")
    state = models.CharField(max_length=7, choices=State, default=State.RUNNING)
    prepared = models.BooleanField("loose threads cut, pieces untangled", null=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    objects = OfTheLab.as_manager()

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "dryings"
        indexes = [models.Index(name="drying_by_start", fields=["started_at"])]
        constraints = [
            models.UniqueConstraint(
                name="drying_one_running_per_dryer", fields=["dryer"], condition=Q(state="running")
            ),
            models.CheckConstraint(
                name="drying_ended_when_dried",
                condition=~Q(state="dried") | Q(ended_at__isnull=False, ended_at__gte=models.F("started_at")),
            ),
            models.CheckConstraint(
                name="drying_void_has_reason",
                condition=(Q(state="void") & ~Q(void_reason="")) | (~Q(state="void") & Q(void_reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"Drying {self.pk}"


class DryingCorrection(DryingConditions):
    """What an ended drying's record should have said: a whole row that supersedes. The newest holds."""

    drying = models.ForeignKey(Drying, models.PROTECT, related_name="corrections")
    revision = models.PositiveSmallIntegerField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["drying_id", "revision"]
        constraints = [
            models.UniqueConstraint(name="drying_correction_revision_once", fields=["drying", "revision"]),
            models.CheckConstraint(name="drying_correction_has_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="drying_correction_has_ended",
                condition=Q(ended_at__isnull=False, ended_at__gte=models.F("started_at")),
            ),
        ]

    @property
    def title(self) -> str:
        return f"correction {self.revision}"


class LoadPieceQuerySet(BelongsToJob):
    job_path = "specimen__request__sample__job"


class LoadPiece(models.Model):
    """A specimen in a load, for its next cycle. `open` until it has an outcome.

    `drying` is the run that counts; the void ones stay in `void_dryings`.
    """

    class Outcome(models.TextChoices):
        TICKED = "ticked", "cycle ticked off"
        VOID = "void", "wetted, no cycle"
        OUT = "out", "taken out dry"

    load = models.ForeignKey(Load, models.PROTECT, related_name="pieces")
    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="pieces")
    ordinal = models.PositiveSmallIntegerField("cycle")
    drying = models.ForeignKey(Drying, models.PROTECT, null=True, blank=True, related_name="pieces")
    void_dryings = models.ManyToManyField(Drying, related_name="pieces_when_void", blank=True)
    open = models.BooleanField(default=True)
    outcome = models.CharField(max_length=6, choices=Outcome, blank=True)
    reason = models.CharField("why it left without a cycle", max_length=300, blank=True)

    objects = LoadPieceQuerySet.as_manager()

    class Meta:
        ordering = ["load_id", "specimen_id"]
        # Few are void; who must be judged is asked on every look at the queue.
        indexes = [models.Index(name="piece_void", fields=["load"], condition=Q(outcome="void"))]
        constraints = [
            # Taken out dry, a piece may come back into the same load; washed in it, it counts once.
            models.UniqueConstraint(
                name="piece_ticked_once_per_load", fields=["load", "specimen"], condition=Q(outcome="ticked")
            ),
            models.UniqueConstraint(name="piece_in_one_open_load", fields=["specimen"], condition=Q(open=True)),
            models.CheckConstraint(name="piece_cycle_from_one", condition=Q(ordinal__gte=1)),
            models.CheckConstraint(
                name="piece_open_until_its_outcome",
                condition=Q(open=True, outcome="") | (Q(open=False) & ~Q(outcome="")),
            ),
            models.CheckConstraint(
                name="piece_without_cycle_has_reason",
                condition=(Q(outcome__in=["void", "out"]) & ~Q(reason=""))
                | (Q(outcome__in=["", "ticked"]) & Q(reason="")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.specimen} in load {self.load_id}"


class VoidJudgementQuerySet(BelongsToJob):
    job_path = "piece__specimen__request__sample__job"


class VoidJudgement(models.Model):
    """What the manager makes of a piece that was wetted and counted no cycle. Said once."""

    class Decision(models.TextChoices):
        GO_ON = "go_on", "goes on, and the report says so"
        REPEAT = "repeat", "set aside: repeated on a new specimen"

    piece = models.OneToOneField(LoadPiece, models.PROTECT, related_name="judgement")
    decision = models.CharField(max_length=6, choices=Decision)
    text = models.CharField("what it means for the result", max_length=300)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    objects = VoidJudgementQuerySet.as_manager()

    class Meta:
        ordering = ["piece_id"]
        constraints = [
            models.CheckConstraint(name="void_judgement_known", condition=Q(decision__in=["go_on", "repeat"])),
            models.CheckConstraint(name="void_judgement_has_text", condition=~Q(text="")),
        ]


class CycleLogQuerySet(BelongsToJob):
    job_path = "specimen__request__sample__job"


class CycleLog(models.Model):
    """One finished cycle, washed and dried. A mistake is voided with a reason, never edited."""

    specimen = models.ForeignKey(Specimen, models.PROTECT, related_name="cycle_logs")
    ordinal = models.PositiveSmallIntegerField("cycle")
    piece = models.ForeignKey(LoadPiece, models.PROTECT, related_name="cycle_logs")
    done_at = models.DateTimeField()
    done_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True, blank=True)
    voided_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+")
    void_reason = models.CharField(max_length=300, blank=True)

    objects = CycleLogQuerySet.as_manager()

    class Meta:
        ordering = ["specimen_id", "ordinal", "id"]
        constraints = [
            models.UniqueConstraint(
                name="cycle_once_per_specimen", fields=["specimen", "ordinal"], condition=Q(voided_at__isnull=True)
            ),
            models.CheckConstraint(name="cycle_ordinal_from_one", condition=Q(ordinal__gte=1)),
            void_is_whole("cycle_void_has_reason"),
        ]


class KeptTap(models.Model):
    """A tap that waited in a tablet and no longer fitted when it came: kept as it was tapped, for the manager."""

    key = models.UUIDField(unique=True, help_text="of what was tapped: the same again is the row that is there")
    what = models.CharField(max_length=300)
    words = models.TextField("as the tablet showed it", blank=True)
    path = models.CharField(max_length=200)
    typed = models.JSONField("as it was sent")
    refusal = models.TextField("why it did not fit")
    load = models.ForeignKey(Load, models.PROTECT, null=True, related_name="kept_taps")
    pieces = models.ManyToManyField(LoadPiece, related_name="kept_taps", blank=True)
    tapped_at = models.DateTimeField(help_text="as the tablet says")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    kept_at = models.DateTimeField()
    judgement = models.CharField(max_length=500, blank=True)
    judged_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    judged_at = models.DateTimeField(null=True)

    objects = OfTheLab.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [models.Index(name="kept_tap_unjudged", fields=["id"], condition=Q(judged_at__isnull=True))]
        constraints = [
            models.CheckConstraint(name="kept_tap_says_what_and_why", condition=~Q(what="") & ~Q(refusal="")),
            models.CheckConstraint(
                name="kept_tap_judged_by_somebody",
                condition=Q(judgement="", judged_by__isnull=True, judged_at__isnull=True)
                | (~Q(judgement="") & Q(judged_by__isnull=False, judged_at__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return self.what
