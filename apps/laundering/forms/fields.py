"""Fields of the laundry's forms. Figures are typed as hands type them and read by the same rule as in the services."""

from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.forms.models import ModelChoiceIteratorValue

from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.laundering.queries import is_barred, standing_of
from apps.laundering.services.figures import figure, whole, words


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


class MachineSelect(forms.Select):
    """What cannot be used now is shown with the word why, and cannot be picked."""

    def create_option(self, name, value, label, selected, index, subindex=None, attrs=None) -> dict[str, Any]:
        option = super().create_option(name, value, label, selected, index, subindex, attrs)
        machine = getattr(value, "instance", None)
        if machine is not None and is_barred(machine) and not selected:
            option["attrs"]["disabled"] = True
        return option


class Machine(forms.ModelChoiceField):
    """A machine or instrument with how it stands now. What a stale page picks all the same, the service refuses."""

    def __init__(self, label: str, **options) -> None:
        errors = dict.fromkeys(("required", "invalid_choice"), f"Choose the {label.lower()}.")
        nothing = Equipment.objects.none()
        super().__init__(
            nothing, label=label, empty_label="Choose one", error_messages=errors, widget=MachineSelect, **options
        )

    def label_from_instance(self, machine: Equipment) -> str:
        how = standing_of(machine)
        return f"{machine} ({how})" if how else str(machine)

    def offer(self, machines: QuerySet[Equipment]) -> None:
        """These; the only one that can be used is chosen already."""
        rows = list(machines)
        self.queryset = machines
        named = [(ModelChoiceIteratorValue(one.pk, one), self.label_from_instance(one)) for one in rows]
        self.choices = [("", self.empty_label), *named]
        free = [one.pk for one in rows if not is_barred(one)]
        if len(free) == 1:
            self.initial = free[0]
        self.nothing = not rows
