"""What the person chooses: the sheet, and how it is averaged and rounded."""

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from apps.core.errors import Refusal

TEXT_MB, WORKBOOK_MB = 64, 10
UNPACKED, WORKBOOK_ROWS = 100 << 20, 100_000  # of a workbook sent to the page; a larger sheet comes as CSV

AVERAGINGS = [
    ("ratio_of_means", "change of the means: lengths are averaged, then their change is taken"),
    ("mean_of_changes", "mean of the changes: each specimen's change is taken, then averaged"),
]
TIES = [("even", "to the even figure (ASTM E29, ISO 80000-1 rule A)"), ("away", "away from zero (ISO 80000-1 rule B)")]
GIVE = [("page", "on this page"), ("csv", "as a CSV file"), ("xlsx", "as an XLSX file")]


class SheetForm(forms.Form):
    error_title = "Not calculated"

    file = forms.FileField(
        label="Measure sheet",
        allow_empty_file=True,
        widget=forms.FileInput(attrs={"accept": ".csv,.xlsx,text/csv"}),
        help_text=f"CSV up to {TEXT_MB} MB, or XLSX up to {WORKBOOK_MB} MB and {WORKBOOK_ROWS:,} rows.",
        error_messages={"required": "Choose a measure sheet.", "invalid": "Choose a measure sheet."},
    )
    averaging = forms.ChoiceField(label="Averaging", choices=AVERAGINGS, widget=forms.RadioSelect)
    tie = forms.ChoiceField(label="A figure exactly between two", choices=TIES, widget=forms.RadioSelect)
    step = forms.CharField(
        label="Reported to the nearest",
        max_length=10,
        help_text="In percent, such as 0.1 or 0.5.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    give = forms.ChoiceField(label="Results", choices=GIVE, widget=forms.RadioSelect)

    def __init__(
        self, data: Any = None, files: Any = None, *, tie: str, averaging: str = "", step: str = "0.1"
    ) -> None:
        first = {"averaging": averaging or AVERAGINGS[0][0], "tie": tie, "step": step, "give": GIVE[0][0]}
        super().__init__(data, files, initial=first)

    def clean_file(self) -> UploadedFile:
        file = self.cleaned_data["file"]
        name = file.name.lower()
        if not name.endswith((".csv", ".xlsx", ".txt", ".tsv")):
            raise forms.ValidationError("A measure sheet is a file that ends in .csv or .xlsx.", code="kind")
        most = WORKBOOK_MB if self.is_workbook(file) else TEXT_MB
        if file.size > most << 20:
            raise forms.ValidationError(
                f"This file has {file.size / (1 << 20):.0f} MB; {most} MB is the most. "
                f"{'Save it as CSV' if most == WORKBOOK_MB else 'Part it by samples'}, or use manage.py sheet.",
                code="too_large",
            )
        return file

    @staticmethod
    def is_workbook(file: UploadedFile) -> bool:
        return file.name.lower().endswith(".xlsx")

    def put_beside(self, refusal: Refusal) -> None:
        field = refusal.field if refusal.field in self.fields else None
        self.add_error(field, str(refusal))
