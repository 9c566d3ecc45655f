"""Fields that read what people type: one line, several lines, a figure, a percentage, a list of cycles."""

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from apps.calc.errors import CalcError
from apps.core.errors import Refusal

# What a keyboard does not send and paper does not print; white space is put right instead.
CONTROL = re.compile(r"[\x01-\x08\x0e-\x1f\x7f]")
FIGURE = re.compile(r"[0-9]{1,9}(?:[.,][0-9]{1,6})?")
PERCENT = re.compile(r"([+\-\N{MINUS SIGN}\N{EN DASH}]?) ?([0-9]{1,3})(?:[.,]([0-9]{1,2}))?(?: ?%)?")


def _printable(value: str) -> str:
    if CONTROL.search(value):
        raise ValidationError("This holds characters that cannot be printed. Type it instead of pasting it.")
    return value


class OneLine(forms.CharField):
    """Text in one line: white space of any kind and length counts as one space."""

    def to_python(self, value: Any) -> str:
        return " ".join(super().to_python(value).split())

    def run_validators(self, value: str) -> None:
        super().run_validators(value)
        _printable(value)


class Lines(forms.CharField):
    """Text in several lines."""

    widget = forms.Textarea(attrs={"rows": 3})

    def to_python(self, value: Any) -> str:
        return super().to_python(value).replace("\r\n", "\n").replace("\r", "\n")

    def run_validators(self, value: str) -> None:
        super().run_validators(value)
        _printable(value)


class Figure(forms.CharField):
    """A figure above zero with a point or a comma, empty when it is not known."""

    def __init__(self, *, below: Decimal, places: int, **kwargs) -> None:
        self.below, self.places = below, places
        super().__init__(required=False, **kwargs)
        self.widget.attrs |= {"inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        if not text:
            return None
        if not FIGURE.fullmatch(text):
            raise ValidationError("A figure such as 180 or 180.5, without unit and sign.")
        figure = Decimal(text.replace(",", "."))
        if not 0 < figure < self.below:
            raise ValidationError(f"Above zero and below {self.below}. Leave it empty when it is not known.")
        if figure != round(figure, self.places):
            raise ValidationError(f"At most {self.places} decimal{'s' if self.places > 1 else ''}.")
        return figure


class Percent(forms.CharField):
    """A limit of the change in percent: "−3", "-3.0", "3,0", "+2 %"; minus is shrinkage."""

    def __init__(self, **kwargs) -> None:
        super().__init__(required=False, **kwargs)
        self.widget.attrs |= {"inputmode": "text", "autocomplete": "off", "size": 8}

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        if not text:
            return None
        found = PERCENT.fullmatch(text)
        if not found:
            raise ValidationError("A change in percent such as −3.0, two decimals at most; minus is shrinkage.")
        sign, whole, decimals = found.groups()
        size = Decimal(f"{whole}.{decimals}" if decimals else whole)
        return -size if sign and sign != "+" and size else size


class Cycles(forms.CharField):
    """Cycle numbers such as "1,3", in any order, each once."""

    def clean(self, value: Any) -> tuple[int, ...] | None:
        text = super().clean(value)
        if not text:
            return None
        parts = [part for part in re.split(r"[,;\s]+", text) if part]
        if not parts or not all(re.fullmatch(r"[0-9]{1,3}", part) for part in parts):
            raise ValidationError("Cycle numbers with commas between, such as 1,3.")
        return tuple(sorted({int(part) for part in parts}))


class Count(forms.CharField):
    """A whole number as people type it."""

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self.widget.attrs |= {"inputmode": "numeric", "autocomplete": "off", "size": 4}

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        if not text:
            return None
        if not re.fullmatch(r"[0-9]{1,4}", text):
            raise ValidationError("A whole number such as 3.")
        return int(text)


def text_of(value: Decimal | None, *, sign: bool = False) -> str:
    """A stored figure as it is typed: "180", "−3.5"; nothing for nothing."""
    if value is None:
        return ""
    plain = format(value, "f")
    plain = plain.rstrip("0").rstrip(".") if "." in plain else plain
    return plain.replace("-", "\N{MINUS SIGN}") if sign else plain


def refuse(form: forms.Form, refusal: Refusal | CalcError) -> None:
    """A rule's sentence, beside its field where the form has it."""
    field = getattr(refusal, "field", None)
    form.add_error(field if field in form.fields else None, str(refusal))
