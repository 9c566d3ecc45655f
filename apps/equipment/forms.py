"""What is asked about machines, instruments and the air."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.db.models import QuerySet

from apps.core.act_form import ActForm, of_column
from apps.equipment.logger_files import MOST_BYTES, How
from apps.equipment.models import Calibration, Equipment, Hold, OutOfService, Tolerance
from apps.equipment.moments import Dates
from apps.equipment.queries.room_air import Rule
from apps.equipment.services.atmosphere import Limits
from apps.equipment.services.calibrations import Finding
from apps.equipment.services.machines import MOST_MONTHS, Details

YEARS = range(2000, 2101)


def a_day(model: Any, name: str, **options: Any) -> forms.Field:
    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    return of_column(model, name, widget=widget, **options)


class Moment(forms.DateTimeField):
    """When it was, in the lab's time; empty: just now."""

    def __init__(self, label: str, **options: Any) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        errors = {"invalid": "A date and a time, such as 2 Mar 2026 14:05, as your device offers it."}
        formats = ["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]
        super().__init__(label=label, widget=widget, input_formats=formats, error_messages=errors, **options)

    def to_python(self, value: Any) -> datetime | None:
        try:
            return super().to_python(value)
        except OverflowError as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error


# Machines and instruments


class DetailsForm(ActForm):
    """What is written about a piece of equipment."""

    name = of_column(Equipment, "name", help_text="As it stands on the label, such as Washer 1.")
    maker = of_column(Equipment, "maker")
    serial_number = of_column(Equipment, "serial_number")
    firmware = of_column(Equipment, "firmware", help_text="The version that is installed.")
    location = of_column(Equipment, "location")
    interval_months = forms.IntegerField(
        label="Calibrated or verified every (months)",
        min_value=1,
        max_value=MOST_MONTHS,
        required=False,
        help_text="Empty: nothing is due.",
    )
    overdue_rule = of_column(Equipment, "overdue_rule", widget=forms.RadioSelect, initial="disclose")
    acceptance = of_column(Equipment, "acceptance", help_text="Such as: within 0.5 mm over 500 mm.")
    notes = of_column(Equipment, "notes", widget=forms.Textarea(attrs={"rows": 3}))

    @property
    def details(self) -> Details:
        return Details(**{name: self.cleaned_data[name] for name in DetailsForm.base_fields})


class NewEquipmentForm(DetailsForm):
    kind = forms.ChoiceField(
        choices=[("", "Choose one"), *Equipment.Kind.choices], help_text="Stays as it is from now on."
    )
    field_order = ["name", "kind"]


class OutOfServiceForm(ActForm):
    reason = of_column(OutOfService, "reason", label="Why it must not be used")
    when = Moment("Since another time than now", required=False)


class ReturnForm(ActForm):
    checked = of_column(OutOfService, "checked", label="What was done, and how it was seen to work")


class CalibrationForm(ActForm):
    done_on = a_day(Calibration, "done_on")
    due_on = a_day(Calibration, "due_on", help_text="The last day it may be used without a word.")
    done_by = of_column(Calibration, "done_by", label="Done by", help_text="The laboratory or the person.")
    certificate = of_column(Calibration, "certificate")
    as_found = of_column(Calibration, "as_found", help_text="Such as: +0.3 °C at 40 °C.")
    as_left = of_column(Calibration, "as_left", help_text="After an adjustment, if there was one.")
    usable = forms.ChoiceField(
        label="What follows from it",
        choices=[("yes", "fit for use"), ("no", "not fit for use: it is refused from that day on")],
        widget=forms.RadioSelect,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Say whether it is fit for use."),
    )
    note = of_column(Calibration, "note", widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, equipment: Equipment, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if equipment.interval_months:
            many = f"{equipment.interval_months} month{'' if equipment.interval_months == 1 else 's'}"
            self.fields["due_on"].help_text += f" Empty: {many} later."

    @property
    def finding(self) -> Finding:
        return Finding(**{**self.cleaned_data, "usable": self.cleaned_data["usable"] == "yes"})


class ReleaseForm(ActForm):
    reason = of_column(
        Hold,
        "release_reason",
        required=True,
        label="What was found, and why results may go out",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


# The air


class ShowForm(forms.Form):
    """Which day or week of the air is shown, and against which tolerance."""

    on = forms.DateField(label="Day", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}), required=False)
    view = forms.ChoiceField(choices=[("day", "Day"), ("week", "Week")], required=False)
    against = forms.CharField(max_length=40, required=False)

    def clean_on(self) -> date | None:
        on = self.cleaned_data["on"]
        if on and on.year not in YEARS:
            raise forms.ValidationError("A day between 2000 and 2100.")
        return on


class InstrumentField(forms.ModelChoiceField):
    """What the air was read with. One whose calibration is overdue can be chosen and says so."""

    def __init__(self, **options: Any) -> None:
        super().__init__(
            Equipment.objects.none(),
            label="Read with",
            empty_label="not said",
            required=False,
            error_messages={"invalid_choice": "This instrument cannot be chosen now."},
            **options,
        )

    def label_from_instance(self, instrument: Equipment) -> str:
        return f"{instrument} (calibration overdue)" if getattr(instrument, "is_overdue", False) else str(instrument)


class Figure(forms.CharField):
    """A figure that stays as it was typed; the service reads it."""

    def __init__(self, label: str, **options: Any) -> None:
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        super().__init__(label=label, max_length=20, widget=forms.TextInput(attrs), **options)


class ReadingForm(ActForm):
    """Two numbers and Enter."""

    temperature = Figure("Temperature (°C)")
    humidity = Figure("Relative humidity (%)")
    instrument = InstrumentField()
    when = Moment("Read at another time than now", required=False)

    def __init__(self, *args: Any, instruments: QuerySet[Equipment], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].queryset = instruments


class ImportForm(ActForm):
    """A logger's file, and what it does not say itself."""

    file = forms.FileField(
        label="File",
        help_text="CSV. One of its first lines names the columns: a time, a temperature, a humidity.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
        error_messages={"empty": "The file is empty.", "required": "Choose the logger's file."},
    )
    instrument = InstrumentField()
    dates = forms.ChoiceField(
        label="Dates are written",
        choices=[
            ("", "as can be seen in the file"),
            ("day", "day first: 2.3.2026"),
            ("month", "month first: 3/2/2026"),
        ],
        required=False,
    )
    clock = forms.ChoiceField(
        label="The logger's clock", choices=[("", "the lab's own time"), ("utc", "UTC")], required=False
    )
    unit = forms.ChoiceField(
        label="Temperature in",
        choices=[("", "what the heading says, else °C"), ("c", "°C"), ("f", "°F")],
        required=False,
    )

    def __init__(self, *args: Any, instruments: QuerySet[Equipment], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["instrument"].queryset = instruments

    def clean_file(self) -> Any:
        if self.cleaned_data["file"].size > MOST_BYTES:
            raise forms.ValidationError(f"The file is larger than {MOST_BYTES // 1024**2} MB. Split it.")
        return self.cleaned_data["file"]

    @property
    def how(self) -> How:
        unit = {"": None, "c": False, "f": True}[self.cleaned_data["unit"]]
        return How(Dates(self.cleaned_data["dates"]), utc=self.cleaned_data["clock"] == "utc", fahrenheit=unit)


class StoreForm(ImportForm):
    """The same once more, with the file that was looked at."""

    file = None
    packed = forms.CharField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("instrument", "dates", "clock", "unit"):
            self.fields[name].widget = forms.HiddenInput()


class ToleranceForm(ActForm):
    temperature_c = of_column(Tolerance, "temperature_c", label="Temperature (°C)")
    temperature_tolerance_c = of_column(Tolerance, "temperature_tolerance_c", label="Plus or minus (°C)")
    humidity_pct = of_column(Tolerance, "humidity_pct", label="Relative humidity (%)")
    humidity_tolerance_pct = of_column(Tolerance, "humidity_tolerance_pct", label="Plus or minus (%)")
    source = of_column(Tolerance, "source", label="Where these figures come from")
    gap_minutes = of_column(
        Tolerance,
        "gap_minutes",
        label="The log may pause for (minutes)",
        help_text="A longer pause between two readings is a gap. A logger: 60 or less. By hand: as often as you read.",
    )

    @staticmethod
    def shown(rule: Rule) -> dict[str, Any]:
        """What the page starts from: what holds now."""
        band = rule.band
        figures = (band.temperature, band.temperature_tolerance, band.humidity, band.humidity_tolerance)
        columns = ("temperature_c", "temperature_tolerance_c", "humidity_pct", "humidity_tolerance_pct")
        shown = {column: f"{figure:.1f}" for column, figure in zip(columns, figures, strict=True)}
        return {**shown, "source": band.source, "gap_minutes": rule.longest_minutes}

    @property
    def limits(self) -> Limits:
        return Limits(**self.cleaned_data)
