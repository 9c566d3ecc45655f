"""Machines, instruments and the conditioning room: what they are, what was found out about them, and when."""

from django.db import models
from django.db.models import F, Q

from apps.calc.conditioning import AirReading, Atmosphere
from apps.core.columns import PERSON, void_is_whole
from apps.equipment import air
from apps.trail.models import Blob


class Equipment(models.Model):
    """A machine, an instrument or a room. Never deleted; it keeps the name that a run stands under.

    Whether it may be used lies in rows of their own (Calibration, OutOfService), so that it can be asked of any moment.
    """

    class Kind(models.TextChoices):
        WASHER = "washer", "washer"
        DRYER = "dryer", "dryer"
        RULE = "rule", "rule or tape"
        SCALE = "scale", "percent scale"
        BALANCE = "balance", "balance"
        THERMOMETER = "thermometer", "thermometer"
        LOGGER = "logger", "atmosphere logger or hygrometer"
        ROOM = "room", "conditioning room"

    class OverdueRule(models.TextChoices):
        DISCLOSE = "disclose", "it may be used, and the report says so"
        REFUSE = "refuse", "it must not be used"

    name = models.CharField("name in the lab", max_length=60, unique=True)
    kind = models.CharField(max_length=12, choices=Kind)
    maker = models.CharField("maker and type", max_length=120, blank=True)
    serial_number = models.CharField(max_length=80, blank=True)
    firmware = models.CharField("software or firmware", max_length=80, blank=True)
    location = models.CharField("where it stands", max_length=120, blank=True)
    acceptance = models.CharField("what it must hold to", max_length=300, blank=True)
    interval_months = models.PositiveSmallIntegerField("calibrated or verified every (months)", null=True, blank=True)
    overdue_rule = models.CharField(
        "when that is overdue", max_length=8, choices=OverdueRule, default=OverdueRule.DISCLOSE
    )
    notes = models.CharField(max_length=1000, blank=True)
    version = models.PositiveIntegerField(
        default=1, editable=False, help_text="counts the changes; a page sends it back"
    )

    class Meta:
        ordering = ["kind", "name"]
        verbose_name_plural = "equipment"
        constraints = [
            models.CheckConstraint(name="equipment_has_a_name", condition=~Q(name="")),
            models.CheckConstraint(
                name="equipment_kind_known",
                condition=Q(
                    kind__in=["washer", "dryer", "rule", "scale", "balance", "thermometer", "logger", "room"],
                ),
            ),
            models.CheckConstraint(
                name="equipment_overdue_rule_known", condition=Q(overdue_rule__in=["disclose", "refuse"])
            ),
            models.CheckConstraint(name="equipment_interval_from_one", condition=Q(interval_months__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def stream(self) -> str:
        return f"equipment:{self.pk}"

    @property
    def is_room(self) -> bool:
        return self.kind == self.Kind.ROOM


class Calibration(models.Model):
    """What a calibration or verification found, and how long it holds. Never changed: void, and recorded anew."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="calibrations")
    done_on = models.DateField("done on")
    due_on = models.DateField("next due on", null=True, blank=True)
    done_by = models.CharField("done by", max_length=120, blank=True, help_text="the laboratory or person")
    certificate = models.CharField("certificate number", max_length=80, blank=True)
    as_found = models.CharField("as found", max_length=300)
    as_left = models.CharField("as left", max_length=300, blank=True)
    usable = models.BooleanField("fit for use")
    note = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True)
    voided_by = models.ForeignKey(**PERSON, null=True)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-done_on", "-id"]
        constraints = [
            models.CheckConstraint(name="calibration_due_after_done", condition=Q(due_on__gt=F("done_on"))),
            models.CheckConstraint(name="calibration_says_what_was_found", condition=~Q(as_found="")),
            void_is_whole("calibration_void_is_whole"),
        ]


class OutOfService(models.Model):
    """A time in which a piece of equipment was not to be used, and why; the end is written once."""

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="times_out")
    since = models.DateTimeField()
    reason = models.CharField(max_length=200)
    by = models.ForeignKey(**PERSON)
    recorded_at = models.DateTimeField()
    until = models.DateTimeField(null=True)
    checked = models.CharField("what was done, and how it was seen to work", max_length=200, blank=True)
    ended_by = models.ForeignKey(**PERSON, null=True)

    class Meta:
        ordering = ["-since", "-id"]
        constraints = [
            models.UniqueConstraint(
                name="out_of_service_once_at_a_time", fields=["equipment"], condition=Q(until__isnull=True)
            ),
            models.CheckConstraint(name="out_of_service_has_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="out_of_service_ends_after_it_begins",
                condition=Q(until__isnull=True, ended_by__isnull=True, checked="")
                | Q(until__gte=F("since"), ended_by__isnull=False),
            ),
        ]


class Hold(models.Model):
    """Results of cloth that ran on this machine wait: its check fabric says that something changed.

    `since`: the last time it was seen to be in order; empty: never. The release is written once, with its reason.
    """

    equipment = models.ForeignKey(Equipment, models.PROTECT, related_name="holds")
    since = models.DateTimeField(null=True)
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    released_at = models.DateTimeField(null=True)
    released_by = models.ForeignKey(**PERSON, null=True)
    release_reason = models.CharField("why results may go out", max_length=300, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.UniqueConstraint(
                name="hold_once_at_a_time", fields=["equipment"], condition=Q(released_at__isnull=True)
            ),
            models.CheckConstraint(name="hold_has_reason", condition=~Q(reason="")),
            models.CheckConstraint(
                name="hold_release_is_whole",
                condition=Q(released_at__isnull=True, released_by__isnull=True, release_reason="")
                | (Q(released_at__gte=F("at"), released_by__isnull=False) & ~Q(release_reason="")),
            ),
        ]


class Tolerance(models.Model):
    """What the air of a room must hold to, as the lab set it; the newest holds, the older ones say what held then."""

    room = models.ForeignKey(Equipment, models.PROTECT, related_name="tolerances")
    temperature_c = models.DecimalField("temperature (°C)", max_digits=4, decimal_places=1)
    temperature_tolerance_c = models.DecimalField("plus or minus (°C)", max_digits=3, decimal_places=1)
    humidity_pct = models.DecimalField("relative humidity (%)", max_digits=4, decimal_places=1)
    humidity_tolerance_pct = models.DecimalField("plus or minus (%)", max_digits=3, decimal_places=1)
    gap_minutes = models.PositiveSmallIntegerField("a gap is longer than (minutes)")
    source = models.CharField("where these figures come from", max_length=200)
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(
                name="tolerance_above_zero",
                condition=Q(temperature_tolerance_c__gt=0, humidity_tolerance_pct__gt=0, gap_minutes__gte=1),
            ),
            models.CheckConstraint(name="tolerance_humidity_in_percent", condition=Q(humidity_pct__range=(0, 100))),
            models.CheckConstraint(name="tolerance_has_source", condition=~Q(source="")),
        ]

    @property
    def band(self) -> Atmosphere:
        return Atmosphere(
            self.temperature_c,
            self.temperature_tolerance_c,
            self.humidity_pct,
            self.humidity_tolerance_pct,
            self.source,
        )


class AtmosphereImport(models.Model):
    """A logger's file as it was taken into the book, with the file itself. Void as a whole, with a reason."""

    room = models.ForeignKey(Equipment, models.PROTECT, related_name="imports")
    instrument = models.ForeignKey(Equipment, models.PROTECT, null=True, related_name="+")
    file = models.ForeignKey(Blob, models.PROTECT, related_name="+")
    file_name = models.CharField(max_length=120)
    stored = models.PositiveIntegerField()
    skipped = models.PositiveIntegerField()
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    by = models.ForeignKey(**PERSON)
    at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True)
    voided_by = models.ForeignKey(**PERSON, null=True)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-at", "-id"]
        constraints = [
            models.CheckConstraint(name="import_stores_something", condition=Q(stored__gte=1)),
            void_is_whole("import_void_is_whole"),
        ]


class AtmosphereReading(models.Model):
    """The air of a room at one moment. Never changed: void with a reason, and read or imported anew."""

    class Source(models.TextChoices):
        TYPED = "typed", "typed"
        IMPORT = "import", "from a file"

    room = models.ForeignKey(Equipment, models.PROTECT, related_name="atmosphere", db_index=False)
    instrument = models.ForeignKey(Equipment, models.PROTECT, null=True, related_name="air_readings")
    at = models.DateTimeField()
    temperature_c = models.DecimalField(max_digits=6, decimal_places=4)
    humidity_pct = models.DecimalField(max_digits=7, decimal_places=4)
    source = models.CharField(max_length=6, choices=Source)
    batch = models.ForeignKey(AtmosphereImport, models.PROTECT, null=True, related_name="readings")
    by = models.ForeignKey(**PERSON)
    recorded_at = models.DateTimeField()
    voided_at = models.DateTimeField(null=True)
    voided_by = models.ForeignKey(**PERSON, null=True)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["at"]
        indexes = [models.Index(name="atmosphere_by_moment", fields=["room", "at"])]
        constraints = [
            models.UniqueConstraint(
                name="atmosphere_once_a_moment", fields=["room", "at"], condition=Q(voided_at__isnull=True)
            ),
            models.CheckConstraint(
                name="atmosphere_as_a_room_can_be",
                condition=Q(
                    temperature_c__range=air.REACH[air.TEMPERATURE], humidity_pct__range=air.REACH[air.HUMIDITY]
                ),
            ),
            models.CheckConstraint(
                name="atmosphere_typed_or_from_a_file",
                condition=Q(source="typed", batch__isnull=True) | Q(source="import", batch__isnull=False),
            ),
            void_is_whole("atmosphere_void_is_whole"),
        ]

    @property
    def air(self) -> AirReading:
        """As the rules of conditioning take it."""
        return AirReading(self.at, self.temperature_c, self.humidity_pct)
