"""What the laundry asks for. Figures are typed as hands type them and read by the same rule as in the services."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.intake.services import is_late
from apps.laundering.models import Load
from apps.laundering.services import NotAsAsked
from apps.laundering.services.figures import figure, plain, whole, words
from apps.methods.models import DryingProcedure

# Why a tap comes late that a tablet brings; always said of one, so that sent again it is the same act.
WAITED = "it waited in the tablet for a connection"
MOMENT_CODES = ("future", "before_previous_step", "after_next_step")


class Typed(forms.CharField):
    """A figure that stays as it was typed; what cannot be read is told beside it."""

    def __init__(self, label: str, unit: str, most: int, *, above_zero: bool = False, **options) -> None:
        self._rule = {"what": label, "field": "", "unit": unit, "most": most, "above_zero": above_zero}
        attrs = {"inputmode": "decimal", "autocomplete": "off"}
        super().__init__(label=f"{label} ({unit})", widget=forms.TextInput(attrs), **options)

    def clean(self, value: Any) -> str:
        text = (value or "").strip()
        if not text and not self.required:
            return ""
        return self._read(text)

    def _read(self, text: str) -> str:
        try:
            figure(text, **self._rule)
        except Refusal as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return text


class Count(Typed):
    """A whole number of things."""

    def __init__(self, label: str, most: int, **options) -> None:
        super().__init__(label, "", most, **options)
        self.label, self.widget.attrs["inputmode"] = label, "numeric"

    def _read(self, text: str) -> str:
        try:
            whole(text, what=self._rule["what"], field="", most=self._rule["most"])
        except Refusal as refusal:
            raise forms.ValidationError(str(refusal)) from refusal
        return text


class Words(forms.CharField):
    """A line of text, as long as the book has room for."""

    def __init__(self, label: str, most: int, *, needed: bool = False, rows: int = 0, **options) -> None:
        self._rule = {"what": label, "field": "", "most": most, "needed": needed}
        widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput()
        super().__init__(label=label, required=needed, widget=widget, **options)

    def clean(self, value: Any) -> str:
        try:
            return words(value, **self._rule)
        except Refusal as refusal:
            raise forms.ValidationError(str(refusal)) from refusal


class Moment(forms.DateTimeField):
    """When it was done, in the lab's time; empty: just now."""

    def __init__(self, label: str = "Done at another time than now", **options) -> None:
        widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
        errors = {"invalid": "A date and a time, such as 2 Mar 2026 14:05, as your device offers it."}
        super().__init__(
            label=label,
            widget=widget,
            input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"],
            error_messages=errors,
            **options,
        )

    def to_python(self, value: Any) -> datetime | None:
        try:
            return super().to_python(value)
        except OverflowError as error:
            raise forms.ValidationError(self.error_messages["invalid"], code="invalid") from error


class Machine(forms.ModelChoiceField):
    """A machine in service. One whose verification is overdue can be chosen and says so."""

    def __init__(self, label: str, **options) -> None:
        errors = {
            "required": f"Choose the {label.lower()}.",
            "invalid_choice": f"This {label.lower()} cannot be chosen now.",
        }
        super().__init__(
            Equipment.objects.none(), label=label, empty_label="Choose one", error_messages=errors, **options
        )

    def label_from_instance(self, machine: Equipment) -> str:
        return f"{machine} (verification overdue)" if getattr(machine, "is_overdue", False) else str(machine)


class ActForm(forms.Form):
    """A form whose act may be refused: each sentence goes beside its field."""

    def put_beside(self, refusal: Refusal) -> None:
        if isinstance(refusal, NotAsAsked):
            for problem in refusal.problems:
                self._put(problem.field, problem.sentence)
            return
        field = "when" if refusal.code in MOMENT_CODES and refusal.field is None else refusal.field
        self._put(field, str(refusal))

    def _put(self, field: str | None, sentence: str) -> None:
        self.add_error(field if field in self.fields else None, sentence)


class WhenForm(ActForm):
    """Asks only when, and only if it was not now."""

    when = Moment(required=False)


class LateForm(WhenForm):
    """What is entered hours later says why; the report prints it with both times."""

    late_reason = Words("Why it comes late", 200, help_text="Only when it is entered hours later, from paper.")

    def clean(self) -> dict[str, Any]:
        when, why = self.cleaned_data.get("when"), self.cleaned_data.get("late_reason")
        if when is not None and not why and "late_reason" not in self.errors and is_late(when):
            self.add_error("late_reason", "That is some hours ago. Say why it is entered only now.")
        if when is None and not why and self.data.get("tapped_at"):
            self.cleaned_data["late_reason"] = WAITED
        return self.cleaned_data


class OtherwiseForm(LateForm):
    """An act that may be done otherwise than asked, once that is written down."""

    deviation = Words(
        "Why it is done otherwise", 250, rows=2, help_text="Printed in every report that this load touches."
    )
    at_risk = forms.BooleanField(
        label="No manager is here: I go on at risk, to be judged before approval", required=False
    )

    def __init__(self, *args, manager: bool = False, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if manager:
            del self.fields["at_risk"]

    @property
    def otherwise(self) -> bool:
        """The page shows where a deviation is written: something is not as asked, or something was written."""
        return self.is_bound and bool(self.errors or self.data.get(self.add_prefix("deviation")))


class ReasonForm(WhenForm):
    reason = Words("Reason", 250, needed=True)
    field_order = ["reason", "when"]


class MakeUpForm(WhenForm):
    """Which pieces go into the load; the tick boxes are the page's own."""

    deviation = Words("Why woven and knit share a drum", 250)


class ConditionsForm(forms.Form):
    """What is weighed and measured of a wash."""

    washer = Machine("Washer")
    specimen_mass_g = Typed("Specimens, weighed together dry", "g", 99_999, above_zero=True)
    ballast_pieces = Count("Pieces of ballast", 200)
    ballast_mass_g = Typed("Ballast, weighed", "g", 99_999)
    ballast = Words("Type of ballast", 120, needed=True)
    water_temp_c = Typed("Water, measured", "°C", 100)
    temp_source = forms.ChoiceField(
        label="Measured by",
        choices=Load.TempSource.choices,
        widget=forms.RadioSelect,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Say how the temperature was measured."),
    )
    detergent = Words("Detergent", 120)
    detergent_lot = Words("Lot", 60)
    detergent_g = Typed("Detergent, weighed", "g", 9_999)

    @property
    def typed(self) -> dict[str, Any]:
        """As the services take it."""
        values = {name: self.cleaned_data[name] for name in ConditionsForm.base_fields if name != "washer"}
        return {**values, "washer_id": self.cleaned_data["washer"].pk}


class StartWashForm(OtherwiseForm, ConditionsForm):
    """From the balance to the water, in the order in which hands do it."""

    field_order = [*ConditionsForm.base_fields, "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, washers: QuerySet[Equipment], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["washer"].queryset = washers


class EndWashForm(LateForm):
    spun = forms.BooleanField(label="The last spin ran", required=False)
    rinse_temp_c = Typed("Rinse water, if it was measured", "°C", 100, required=False)
    field_order = ["spun", "rinse_temp_c", "when", "late_reason"]


class StartDryingForm(OtherwiseForm):
    """Which pieces dry, and where; the tick boxes are the page's own."""

    dryer = Machine("Dryer")
    field_order = ["dryer", "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, procedure: DryingProcedure, dryers: QuerySet[Equipment], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if procedure.needs_machine:
            self.fields["dryer"].queryset = dryers
            self.fields["dryer"].label = "Press" if procedure.kind == DryingProcedure.Kind.PRESS else "Dryer"
        else:
            del self.fields["dryer"]


class EndDryingForm(OtherwiseForm):
    lint_filter_cleaned = forms.BooleanField(label="The lint filter is cleaned", required=False)
    cooled_down = forms.BooleanField(label="The cool-down ran to its end", required=False)
    exhaust_c = Typed("Hottest exhaust, if it was measured", "°C", 300, required=False)
    remark = Words("Remark", 300)
    field_order = ["lint_filter_cleaned", "cooled_down", "exhaust_c", "remark"]
    field_order += ["deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, procedure: DryingProcedure, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if procedure.kind != DryingProcedure.Kind.TUMBLE:
            del self.fields["lint_filter_cleaned"], self.fields["cooled_down"]
        if not procedure.needs_machine:
            del self.fields["exhaust_c"]
        elif (limit := procedure.exhaust_limit_c) is not None:
            self.fields["exhaust_c"].help_text = f"At most {plain(limit)} °C."


class CorrectLoadForm(ActForm, ConditionsForm):
    """The whole record as it should have been."""

    rinse_temp_c = Typed("Rinse water, if it was measured", "°C", 100, required=False)
    spun = forms.BooleanField(label="The last spin ran", required=False)
    wash_started_at = Moment("Start of the wash")
    wash_ended_at = Moment("End of the wash")
    reason = Words("Why the record is corrected", 250, needed=True, rows=2)
    shown_revision = forms.IntegerField(min_value=0, max_value=32_000, widget=forms.HiddenInput)

    def __init__(self, *args, washers: QuerySet[Equipment], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["washer"].queryset = washers

    def clean_wash_started_at(self) -> datetime:
        return self._to_the_second("wash_started_at")

    def clean_wash_ended_at(self) -> datetime:
        return self._to_the_second("wash_ended_at")

    def _to_the_second(self, name: str) -> datetime:
        """The field holds minutes; a time that was left as it stood is the very time that was kept."""
        typed, kept = self.cleaned_data[name], self.initial[name]
        return kept if typed == kept.replace(second=0, microsecond=0) else typed

    @staticmethod
    def record_of(conditions: Any) -> dict[str, Any]:
        """What the page starts from: the record that holds now."""
        names = [name for name in ConditionsForm.base_fields if name != "washer"]
        shown = {name: getattr(conditions, name) for name in names}
        for name in ("specimen_mass_g", "ballast_mass_g", "detergent_g", "water_temp_c"):
            shown[name] = plain(shown[name])
        moments = {name: timezone.localtime(getattr(conditions, name)) for name in ("wash_started_at", "wash_ended_at")}
        rinse = plain(conditions.rinse_temp_c)
        return {**shown, **moments, "washer": conditions.washer_id, "rinse_temp_c": rinse, "spun": conditions.spun}


class AnswerForm(forms.Form):
    """What the laundry found or did about work that the manager sent back."""

    answer = Words("What you found or did", 500, needed=True, rows=2)


class JudgeKeptForm(forms.Form):
    """What the manager makes of a tap that came too late to fit."""

    judgement = Words("What becomes of it", 500, needed=True, rows=2)


class DayForm(forms.Form):
    """Which day of the log book."""

    day = forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages=dict.fromkeys(("invalid", "required"), "A day, such as 2026-03-02. Shown is today."),
    )

    def clean_day(self) -> date:
        if not 2000 <= self.cleaned_data["day"].year <= 2200:
            raise forms.ValidationError("This day is not in the log book. Shown is today.")
        return self.cleaned_data["day"]
