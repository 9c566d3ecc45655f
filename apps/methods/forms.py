"""What a manager types about the catalogue. Numbers are typed as hands type them; bounds are the services' to say."""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from apps.core.errors import Refusal
from apps.methods.models import Averaging, DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.methods.numbers import CHOICES, COLUMNS, EXAMPLES, TEXTS, as_it_stands, plain
from apps.methods.services import DryingNumbers, MethodNumbers, WashNumbers

NUMBER = re.compile(r"[0-9]{1,7}(?:[.,][0-9]{1,6})?", re.ASCII)


class OneLine(forms.CharField):
    """Text in one line: white space of any kind and length counts as one space."""

    def to_python(self, value: Any) -> str:
        return " ".join(super().to_python(value).split())


class Number(forms.CharField):
    """A number without unit and sign, with a point or a comma; empty when it may be unknown."""

    def __init__(self, column: str, **kwargs) -> None:
        self.column = COLUMNS[column]
        unit = f" ({self.column.unit})" if self.column.unit else ""
        super().__init__(label=f"{self.column.what}{unit}", max_length=20, **kwargs)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        if not text:
            return None
        if not NUMBER.fullmatch(text):
            raise ValidationError("A number such as 40 or 40.5, without unit and sign.")
        decimals = text.replace(",", ".").partition(".")[2]
        if len(decimals) > self.column.places:
            places = f"{self.column.places} decimal{'' if self.column.places == 1 else 's'} at most"
            raise ValidationError(
                f"{places}. Leave thousands unseparated: 1800, not 1,800." if self.column.places else "A whole number."
            )
        return Decimal(text.replace(",", "."))


class ConfirmForm(forms.Form):
    """A figure is held against the lab's own copy of the standard."""

    error_title = "Not confirmed yet"

    value = OneLine(max_length=300)
    note = OneLine(
        label="Where it stands in the lab's copy",
        max_length=300,
        help_text="Edition and clause or table, and the page.",
    )

    def __init__(self, data: Any, figure: Figure) -> None:
        super().__init__(data, initial={"value": figure.stands})
        label = f"{figure.name[:1].upper()}{figure.name[1:]}, as the lab's copy says"
        if figure.field in CHOICES:
            choices = [(text, text) for text in CHOICES[figure.field]]
            empty = [] if figure.stands in CHOICES[figure.field] else [("", "Choose")]
            self.fields["value"] = forms.ChoiceField(label=label, choices=[*empty, *choices])
            return
        value = self.fields["value"]
        value.label, value.help_text = label, "Leave it as it is when the copy says the same."
        if figure.field in COLUMNS:
            example = EXAMPLES[COLUMNS[figure.field].unit]
            value.help_text = f"The rules reckon with its first number. Write it like {example}."
        elif figure.field and figure.field not in TEXTS:
            value.help_text = as_it_stands(figure.field)
            value.widget.attrs["readonly"] = True


class RetireForm(forms.Form):
    error_title = "Still offered"

    reason = OneLine(label="Why it is offered no more", max_length=200)


class CopyForm(forms.Form):
    """A row of the lab's own after `origin`; the numbers begin as the origin has them."""

    error_title = "Not copied yet"
    columns: tuple[str, ...] = ()

    def __init__(self, data: Any, origin: Any) -> None:
        typed = {name: getattr(origin, name) for name in self.columns}
        super().__init__(
            data, initial={name: plain(value) if name in COLUMNS else value for name, value in typed.items()}
        )
        self.origin = origin

    def values(self) -> dict[str, Any]:
        return {name: self.cleaned_data.get(name) for name in self.columns}

    def names(self) -> dict[str, str]:
        return {name: self.cleaned_data[name] for name in self.cleaned_data if name not in self.columns}


TITLE_HINT = "A word on what it is. That it is the lab's own, and after what, is added by itself."


class CopyMethodForm(CopyForm):
    columns = tuple(MethodNumbers.__dataclass_fields__)

    designation = OneLine(label="Name", max_length=80, help_text="One that nobody takes for the standard's: Lab 12.")
    edition = OneLine(label="Edition", max_length=20, help_text="Such as 1, or the month.")
    title = OneLine(label="Title", max_length=120, required=False, help_text=TITLE_HINT)
    specimens = Number("specimens")
    pairs_per_direction = Number("pairs_per_direction")
    specimen_side_mm = Number("specimen_side_mm")
    benchmark_mm = Number("benchmark_mm")
    averaging = forms.ChoiceField(choices=Averaging.choices)
    rounding_step = Number("rounding_step")
    reading_resolution_mm = Number("reading_resolution_mm")

    def __init__(self, data: Any, origin: TestMethod) -> None:
        super().__init__(data, origin)
        if origin.applies_to == TestMethod.AppliesTo.GARMENT:
            del self.fields["specimen_side_mm"]
        if not origin.averaging:
            self.fields["averaging"].choices = [("", "Choose"), *Averaging.choices]

    def numbers(self) -> MethodNumbers:
        values = self.values()
        counts = {name: int(values[name]) for name in ("specimens", "pairs_per_direction")}
        return MethodNumbers(**{**values, **counts})


class CopyWashForm(CopyForm):
    columns = tuple(WashNumbers.__dataclass_fields__)

    label = OneLine(label="Name", max_length=80, help_text="One that nobody takes for the standard's: Cotton 35.")
    title = OneLine(label="Title", max_length=120, required=False, help_text=TITLE_HINT)
    programme = OneLine(label="Programme on the machine", max_length=60)
    wash_temp_c = Number("wash_temp_c")
    wash_temp_tolerance_c = Number("wash_temp_tolerance_c")
    load_mass_g = Number("load_mass_g")
    load_tolerance_g = Number("load_tolerance_g")
    ballast = OneLine(label="Ballast", max_length=120)
    ballast_piece_g = Number("ballast_piece_g")
    detergent = OneLine(label="Detergent", max_length=120)
    detergent_g = Number("detergent_g", required=False, help_text="Empty: no dose is checked.")
    detergent_tolerance_g = Number("detergent_tolerance_g", required=False)

    def __init__(self, data: Any, origin: LaunderingProcedure) -> None:
        super().__init__(data, origin)

    def numbers(self) -> WashNumbers:
        return WashNumbers(**self.values())


class CopyDryingForm(CopyForm):
    columns = tuple(DryingNumbers.__dataclass_fields__)

    label = OneLine(
        label="Name", max_length=40, help_text="Never a letter alone: it means another thing in each standard."
    )
    title = OneLine(label="Title", max_length=120, required=False, help_text=TITLE_HINT)
    exhaust_max_c = Number("exhaust_max_c")
    exhaust_tolerance_c = Number("exhaust_tolerance_c", required=False)
    instruction = OneLine(label="What the operator does", max_length=300, widget=forms.Textarea(attrs={"rows": 4}))

    def __init__(self, data: Any, origin: DryingProcedure) -> None:
        super().__init__(data, origin)
        if origin.kind != DryingProcedure.Kind.TUMBLE:
            del self.fields["exhaust_max_c"], self.fields["exhaust_tolerance_c"]

    def numbers(self) -> DryingNumbers:
        return DryingNumbers(**self.values())


def put_beside(form: forms.Form, refusal: Refusal) -> None:
    form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
