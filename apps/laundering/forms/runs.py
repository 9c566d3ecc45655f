"""What is weighed and measured of a wash and found of a drying, while it runs and when its record is put right."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.utils import timezone

from apps.equipment.models import Equipment
from apps.laundering.forms.acts import ActForm, LateForm, OtherwiseForm
from apps.laundering.forms.fields import Count, Machine, Moment, Typed, Words
from apps.laundering.models import Drying, Load
from apps.laundering.services.figures import plain
from apps.methods.models import DryingProcedure

MACHINES = ("washer", "thermometer", "balance")


class ConditionsForm(forms.Form):
    """What is weighed and measured of a wash."""

    balance = Machine("Balance", required=False)
    specimen_mass_g = Typed("Specimens, weighed together dry", "g", 99_999, above_zero=True)
    ballast_pieces = Count("Pieces of ballast", 200)
    ballast_mass_g = Typed("Ballast, weighed", "g", 99_999)
    ballast = Words("Type of ballast", 120, needed=True)
    washer = Machine("Washer")
    programme = Words("Programme set", 60)
    water_level = Words("Water level set", 60)
    water_temp_c = Typed("Water, measured", "°C", 100)
    temp_source = forms.ChoiceField(
        label="Measured by",
        choices=Load.TempSource.choices,
        widget=forms.RadioSelect,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Say how the temperature was measured."),
    )
    thermometer = Machine("Thermometer", required=False)
    detergent = Words("Detergent", 120)
    detergent_lot = Words("Lot", 60)
    detergent_g = Typed("Detergent, weighed", "g", 9_999)

    @property
    def typed(self) -> dict[str, Any]:
        """As the services take it."""
        data = self.cleaned_data
        values = {name: data[name] for name in ConditionsForm.base_fields if name not in MACHINES}
        chosen = {name: data.get(name) for name in MACHINES}
        return {**values, **{f"{name}_id": one and one.pk for name, one in chosen.items()}}

    def offer(self, machines: Mapping[str, QuerySet[Equipment]]) -> None:
        """What the lab has; an instrument of which it has none is not asked for."""
        for name, found in machines.items():
            self.fields[name].offer(found)
            if name != "washer" and self.fields[name].nothing:
                del self.fields[name]


class StartWashForm(OtherwiseForm, ConditionsForm):
    """From the balance to the water, in the order in which hands do it."""

    shown = forms.CharField(widget=forms.HiddenInput, required=False, max_length=4000)
    field_order = [*ConditionsForm.base_fields, "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, machines: Mapping[str, QuerySet[Equipment]], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.offer(machines)

    def clean_shown(self) -> list[int] | None:
        """The pieces that the page showed; a page without them is not held to them."""
        texts = self.cleaned_data["shown"].split()
        return [int(text) for text in texts if text.isascii() and text.isdigit() and len(text) < 16] or None


class EndWashForm(LateForm):
    spun = forms.BooleanField(label="The last spin ran", required=False)
    rinse_temp_c = Typed("Rinse water, if it was measured", "°C", 100, required=False)
    field_order = ["spun", "rinse_temp_c", "when", "late_reason"]


class StartDryingForm(OtherwiseForm):
    """Which pieces dry, and where; the tick boxes are the page's own."""

    prepared = forms.BooleanField(label="Loose threads cut, pieces untangled", required=False)
    dryer = Machine("Dryer")
    field_order = ["prepared", "dryer", "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, procedure: DryingProcedure, dryers: QuerySet[Equipment], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if procedure.kind == DryingProcedure.Kind.TUMBLE:
            self.fields["prepared"].label = "Loose threads cut, pieces untangled, lint filter empty"
        if procedure.needs_machine:
            self.fields["dryer"].offer(dryers)
            self.fields["dryer"].label = "Press" if procedure.kind == DryingProcedure.Kind.PRESS else "Dryer"
        else:
            del self.fields["dryer"]


class DriedForm(forms.Form):
    """What is found when a drying has ended."""

    cooled_down = forms.BooleanField(label="The cool-down ran to its end", required=False)
    lint_filter_cleaned = forms.BooleanField(label="The lint filter is cleaned", required=False)
    dryness = forms.ChoiceField(
        label="The pieces are",
        choices=Drying.Dryness.choices,
        initial=Drying.Dryness.DRY,
        required=False,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "Say how dry the pieces are."},
    )
    exhaust_c = Typed("Hottest exhaust, if it was measured", "°C", 300, required=False)
    longer_minutes = Count("Longer than the programme, minutes", 5999, required=False)
    remark = Words("Remark", 300)

    def suit(self, procedure: DryingProcedure) -> None:
        """Only what this kind of drying has."""
        self.fields["longer_minutes"].help_text = "Heavy cloth may dry longer; the remark says why."
        if procedure.kind != DryingProcedure.Kind.TUMBLE:
            del self.fields["lint_filter_cleaned"], self.fields["cooled_down"]
        if not procedure.needs_machine:
            del self.fields["exhaust_c"], self.fields["longer_minutes"]
        elif (limit := procedure.exhaust_limit_c) is not None:
            self.fields["exhaust_c"].help_text = f"At most {plain(limit)} °C."

    @property
    def found(self) -> dict[str, Any]:
        """As the services take it."""
        names = [name for name in DriedForm.base_fields if name in self.fields]
        return {"lint_filter_cleaned": False, **{name: self.cleaned_data[name] for name in names}}


class EndDryingForm(OtherwiseForm, DriedForm):
    field_order = [*DriedForm.base_fields, "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, procedure: DryingProcedure, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.suit(procedure)


class CorrectionForm(ActForm):
    """A whole record as it should have been. The fields hold minutes: a time left as it stood is the very time kept."""

    MOMENTS: tuple[str, ...] = ()
    reason = Words("Why the record is corrected", 250, needed=True, rows=2)
    shown_revision = forms.IntegerField(min_value=0, max_value=32_000, widget=forms.HiddenInput)

    def clean(self) -> dict[str, Any]:
        for name in self.MOMENTS:
            typed, kept = self.cleaned_data.get(name), self.initial[name]
            if typed == kept.replace(second=0, microsecond=0):
                self.cleaned_data[name] = kept
        return self.cleaned_data


class CorrectDryingForm(CorrectionForm, DriedForm):
    MOMENTS = ("started_at", "ended_at")
    dryer = Machine("Dryer")
    started_at = Moment("Start of the drying")
    ended_at = Moment("End of the drying")
    field_order = ["dryer", "started_at", "ended_at", *DriedForm.base_fields, "reason"]

    def __init__(self, *args, procedure: DryingProcedure, dryers: QuerySet[Equipment], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.suit(procedure)
        self.fields["dryer"].queryset = dryers
        if not procedure.needs_machine:
            del self.fields["dryer"]

    @staticmethod
    def record_of(conditions: Any) -> dict[str, Any]:
        """What the page starts from: the record that holds now."""
        shown = {name: getattr(conditions, name) for name in DriedForm.base_fields}
        moments = {name: timezone.localtime(getattr(conditions, name)) for name in CorrectDryingForm.MOMENTS}
        return {**shown, **moments, "exhaust_c": plain(conditions.exhaust_c), "dryer": conditions.dryer_id}


class CorrectLoadForm(CorrectionForm, ConditionsForm):
    """The whole record of a wash as it should have been."""

    MOMENTS = ("wash_started_at", "wash_ended_at")
    water_hardness = Words("Hardness of the water", 60)
    rinse_temp_c = Typed("Rinse water, if it was measured", "°C", 100, required=False)
    spun = forms.BooleanField(label="The last spin ran", required=False)
    wash_started_at = Moment("Start of the wash")
    wash_ended_at = Moment("End of the wash")

    def __init__(self, *args, machines: Mapping[str, QuerySet[Equipment]], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.offer(machines)

    @staticmethod
    def record_of(conditions: Any) -> dict[str, Any]:
        """What the page starts from: the record that holds now."""
        names = [*(name for name in ConditionsForm.base_fields if name not in MACHINES), "water_hardness"]
        shown = {name: getattr(conditions, name) for name in names}
        for name in ("specimen_mass_g", "ballast_mass_g", "detergent_g", "water_temp_c"):
            shown[name] = plain(shown[name])
        moments = {name: timezone.localtime(getattr(conditions, name)) for name in CorrectLoadForm.MOMENTS}
        rinse = plain(conditions.rinse_temp_c)
        machines = {name: getattr(conditions, f"{name}_id") for name in MACHINES}
        return {**shown, **moments, **machines, "rinse_temp_c": rinse, "spun": conditions.spun}
