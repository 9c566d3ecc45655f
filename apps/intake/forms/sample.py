"""A sample: what it is, how large, in what condition, and where it lies."""

from decimal import Decimal
from typing import Any

from django import forms

from apps.calc.errors import LengthError
from apps.calc.lengths import format_length, parse_length
from apps.calc.rounding import round_to
from apps.intake.forms.fields import Figure, Lines, OneLine, text_of
from apps.intake.models import Sample
from apps.intake.services import RequestDetails, SampleDetails, sample_faults

UNITS = [("cm", "cm"), ("mm", "mm"), ("in", "inches")]
TENTH = Decimal("0.1")  # of a millimetre, as the size on hand is kept
UNKNOWN = "Empty when it is not known."


def length_field(label: str, help_text: str = UNKNOWN, *, required: bool = False) -> OneLine:
    return OneLine(
        label=label,
        max_length=32,
        required=required,
        help_text=help_text,
        widget=forms.TextInput(attrs={"inputmode": "text", "autocomplete": "off"}),
    )


class SampleFields(forms.Form):
    """What a sample is, whether it comes in or is put right."""

    description = OneLine(max_length=200, help_text="Such as: shirting, plain weave.")
    kind = forms.ChoiceField(label="It is", choices=Sample.Kind.choices, initial="fabric", widget=forms.RadioSelect)
    construction = forms.ChoiceField(choices=Sample.Construction.choices, widget=forms.RadioSelect)
    fibre = OneLine(
        label="Fibre content",
        max_length=200,
        required=False,
        help_text="Such as: 65 % cotton, 35 % polyester. Unknown fibre is conditioned longest.",
    )
    mass_gsm = Figure(label="Mass per area (g/m²)", below=Decimal(10_000), places=1, max_length=12, help_text=UNKNOWN)
    colour = OneLine(max_length=80, required=False)
    size = OneLine(label="Size", max_length=40, required=False)
    care_label = OneLine(
        label="Care label says", max_length=200, required=False, help_text="In words, as on the label."
    )
    width = length_field("Width on hand")
    length = length_field("Length on hand")
    unit = forms.ChoiceField(label="In", choices=UNITS, initial="cm")
    condition = OneLine(label="Condition on receipt", max_length=300, required=False, help_text="Such as: dry, rolled.")
    fault = Lines(
        label="Anything wrong with it",
        max_length=500,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Stains, distortion, batteries, pins.",
    )
    bleeds_or_sheds = forms.BooleanField(label="May bleed colour or shed lint: wash apart", required=False)

    def clean(self) -> dict[str, Any]:
        unit = self.cleaned_data.get("unit")
        for name in ("width", "length"):
            self.cleaned_data[f"{name}_mm"] = self._millimetres(name, self.cleaned_data.get(name), unit)
        for refusal in sample_faults(self.details()):
            name = refusal.field.removesuffix("_mm")
            if not self.has_error(name):
                self.add_error(name, str(refusal))
        return self.cleaned_data

    def _millimetres(self, name: str, text: str | None, unit: str | None) -> Decimal | None:
        if not text or not unit:
            return None
        try:
            size = round_to(parse_length(text, unit), TENTH)
        except LengthError as error:
            self.add_error(name, str(error))
            return None
        if not size:
            self.add_error(name, "That is less than a tenth of a millimetre. Check the unit.")
        return size

    def details(self, requests: tuple[RequestDetails, ...] = ()) -> SampleDetails:
        names = ("description", "kind", "construction", "fibre", "mass_gsm", "colour", "size", "care_label")
        names += ("width_mm", "length_mm", "condition", "fault", "bleeds_or_sheds")
        values = {name: self.cleaned_data.get(name) for name in names}
        return SampleDetails(**values, place=self.cleaned_data.get("place", ""), requests=requests)


class SampleForm(SampleFields):
    """A sample comes in."""

    place = OneLine(label="Storage place", max_length=120, required=False)


def typed_sample(values: dict[str, Any]) -> dict[str, Any]:
    """The columns of a sample as they stand in the fields; sizes in millimetres, as they are kept."""
    sizes = {
        name: format_length(values[f"{name}_mm"], "mm") if values[f"{name}_mm"] else "" for name in ("width", "length")
    }
    return {**values, **sizes, "unit": "mm", "mass_gsm": text_of(values["mass_gsm"])}
