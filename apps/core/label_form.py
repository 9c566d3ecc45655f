"""What is asked before labels are printed: on which stock, from which place, how many of each."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from apps.core.label_stocks import STOCKS, Stock

KINDS = [
    ("Sheets", [(stock.code, stock.name) for stock in STOCKS.values() if not stock.on_roll]),
    ("Single labels", [(stock.code, stock.name) for stock in STOCKS.values() if stock.on_roll]),
]


class LabelForm(forms.Form):
    """Asked for by address, so that a sheet can be printed again from the browser's history."""

    error_title = "No labels yet"
    stock = forms.ChoiceField(label="Labels", choices=KINDS, initial="a4-24")
    start = forms.IntegerField(
        label="First free place on the sheet",
        required=False,
        initial=1,
        min_value=1,
        help_text="Counted along the rows; 1 on a whole sheet.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    copies = forms.IntegerField(
        label="Of each",
        required=False,
        initial=1,
        min_value=1,
        max_value=20,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean_start(self) -> int:
        return self.cleaned_data["start"] or 1

    def clean_copies(self) -> int:
        return self.cleaned_data["copies"] or 1

    def clean(self) -> dict[str, Any]:
        stock, start = STOCKS.get(self.cleaned_data.get("stock", "")), self.cleaned_data.get("start")
        if stock and start and start > stock.a_sheet:
            if stock.on_roll:
                self.cleaned_data["start"] = 1
            else:
                self.add_error("start", ValidationError(f"This sheet has {stock.a_sheet} places."))
        return self.cleaned_data

    @property
    def chosen(self) -> Stock:
        return STOCKS[self.cleaned_data["stock"]]
