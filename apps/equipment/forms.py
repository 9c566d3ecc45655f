from django import forms

from apps.equipment.models import Equipment


def of_column(name: str, **options) -> forms.Field:
    """A form field as the column says: its label, its length, its choices."""
    return Equipment._meta.get_field(name).formfield(**options)


class DetailsForm(forms.Form):
    """What is written about a piece of equipment."""

    name = of_column("name", help_text="As it stands on the label, such as Washer 1.")
    maker = of_column("maker")
    serial_number = of_column("serial_number")
    location = of_column("location", label="Where it stands")
    calibration_due = of_column(
        "calibration_due",
        help_text="The last day it may be used without a word. Empty: nothing is due.",
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
    )


class NewEquipmentForm(DetailsForm):
    kind = forms.ChoiceField(
        choices=[("", "Choose one"), *Equipment.Kind.choices], help_text="Stays as it is from now on."
    )
    field_order = ["name", "kind"]


class OutOfServiceForm(forms.Form):
    reason = of_column("out_of_service", label="Why it must not be used", required=True)


class ReturnForm(forms.Form):
    checked = forms.CharField(label="What was done, and how it was seen to work", max_length=200, required=False)
