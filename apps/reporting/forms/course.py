"""What the pages about the course of the work ask for."""

from typing import Any

from django import forms

from apps.reporting.forms.reports import reason_field
from apps.reporting.models import Nonconformity, NonconformityNote, Retest


def line_field(label: str, help_text: str = "", *, most: int = 200, missing: str = "", required: bool = True):
    return forms.CharField(
        label=label, help_text=help_text, max_length=most, required=required, error_messages={"required": missing}
    )


class RetestForm(forms.Form):
    error_title = "Not ordered"

    asked_by = forms.ChoiceField(
        label="Asked for by",
        choices=Retest.AskedBy,
        widget=forms.RadioSelect,
        error_messages={"required": "Say who asks for the retest.", "invalid_choice": "Say who asks for the retest."},
    )
    reason = reason_field(
        "Why it is tested anew",
        "The report prints it. That a result failed is no reason by itself.",
        missing="Say why; the report prints it.",
    )
    cause = reason_field("Cause found for the first result, if one was", missing="")
    enough_cloth = forms.BooleanField(label="there is enough cloth for new specimens", required=False)

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["cause"].required = False


class CyclesForm(forms.Form):
    error_title = "Not changed"

    cycles = forms.IntegerField(
        label="Cycles from now on",
        error_messages={"required": "Type a number of cycles.", "invalid": "Type a number of cycles, such as 1."},
    )
    shown = forms.IntegerField(
        widget=forms.HiddenInput, error_messages={"required": "Open the page again.", "invalid": "Open the page again."}
    )
    agreed_with = line_field(
        "Who of the customer agreed, and when", most=150, missing="Say who of the customer agreed."
    )
    reason = reason_field("Why", most=300, missing="Say why; the report prints it.")


class CancelForm(forms.Form):
    error_title = "Not cancelled"

    asked_by = line_field("Who asked for it", most=150, missing="Say who asked for it.")
    reason = reason_field("Why", missing="Say why; it is kept.")
    whole_sample = forms.BooleanField(label="the sample is withdrawn: all its open requests", required=False)


class NonconformityForm(forms.Form):
    error_title = "Not recorded"

    kind = forms.ChoiceField(label="What it is", choices=Nonconformity.Kind)
    title = line_field("In a few words", most=150, missing="Say in a few words what it is.")
    what = reason_field("What was found", most=2000, missing="Say what was found.")
    found_on = forms.DateField(
        label="Found on",
        widget=forms.DateInput(attrs={"type": "date"}),
        error_messages={"required": "Say when it was found.", "invalid": "Type a date, such as 2026-03-02."},
    )
    jobs = line_field(
        "Jobs that it touches",
        "Numbers with commas between. Their customers can then be told.",
        most=500,
        required=False,
    )

    def clean_jobs(self) -> list[str]:
        return self.cleaned_data["jobs"].replace(";", ",").split(",")


class NoteForm(forms.Form):
    error_title = "Not added"

    kind = forms.ChoiceField(
        label="What was done",
        choices=NonconformityNote.Kind,
        help_text="“Customers told” writes to the customers of these jobs at once, in the words below.",
        error_messages={"invalid_choice": "Say what was done."},
    )
    text = reason_field("In words", most=2000, missing="Say what was done.")


class ExternalForm(forms.Form):
    error_title = "Not added"

    laboratory = line_field("Laboratory", "Name and place.", missing="Name the laboratory.")
    accreditation = line_field("Its accreditation for this test", required=False)
    test = line_field("What was tested, and how", missing="Say what was tested.")
    result = line_field("Result with its unit", missing="Type the result.")
    reference = line_field("Their report", "Number and date.", most=100, missing="Name their report.")
    consent = line_field("Who of the customer agreed, and when", missing="Say who of the customer agreed.")
    file = forms.FileField(
        label="Their report as a PDF",
        required=False,
        error_messages={"empty": "This file is empty.", "invalid": "Choose a PDF."},
    )


class VoidForm(forms.Form):
    error_title = "Not taken back"

    reason = reason_field("Why it is void", most=300, missing="Say why; it is kept.")
