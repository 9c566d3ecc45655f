"""What a customer says of a parcel beforehand, and the receiving page filled with it."""

from datetime import datetime
from typing import Any

from django import forms
from django.forms.utils import ErrorDict
from django.http import QueryDict

from apps.intake.forms.fields import Lines, OneLine
from apps.intake.forms.job import typed_moment
from apps.intake.forms.request import RequestFields
from apps.intake.forms.sample import SampleFields
from apps.intake.models import Announcement
from apps.intake.queries import Catalogue
from apps.intake.services import Announced

MOST_SAMPLES = 50
LEFT_TO_THE_LAB = ("method", "procedure", "drying", "cycles", "measured_after", "limits")


class ParcelForm(forms.Form):
    purchase_order = OneLine(label="Your order", max_length=80, required=False)
    expected_on = forms.DateField(
        label="Comes on", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    remark = Lines(
        label="What else we should know",
        max_length=2000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="By when it is needed, what hangs on it.",
    )


class ComingForm(SampleFields):
    """A thing that is coming. Its condition is looked at when it is here."""

    condition = None
    fault = None


class WishForm(RequestFields):
    """How it is to be tested; what is left open the lab proposes and agrees with the customer."""

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        for name in LEFT_TO_THE_LAB:
            self.fields[name].required = False
        for name in ("method", "procedure", "drying"):
            self.fields[name].choices[0] = ("", "The laboratory proposes")
            self.fields[name].widget.choices = self.fields[name].choices


ComingSet = forms.formset_factory(
    ComingForm, extra=0, min_num=1, max_num=MOST_SAMPLES, absolute_max=MOST_SAMPLES, validate_max=True
)


class Announce:
    """The page as one: the parcel, what is in it, and how it is to be tested."""

    def __init__(self, data: QueryDict | None, *, catalogue: Catalogue) -> None:
        if data is not None and data.get("do") == "more":
            data = self._one_more(data.copy())
        self.asked = data is not None and data.get("do") == "announce"
        self.parcel = ParcelForm(data, prefix="parcel")
        self.samples = ComingSet(data, prefix="s")
        self.wish = WishForm(data, prefix="test", catalogue=catalogue)
        if data is not None and not self.asked:
            for _, form in self.forms():  # what is half typed is not found fault with
                form.full_clean()
                form._errors = ErrorDict()

    def _one_more(self, data: QueryDict) -> QueryDict:
        total = data.get("s-TOTAL_FORMS", "")
        if total.isascii() and total.isdigit() and len(total) < 3 and int(total) < MOST_SAMPLES:
            before, number = int(total) - 1, int(total)
            for name in ("kind", "construction", "unit"):
                data[f"s-{number}-{name}"] = data.get(f"s-{before}-{name}", "")
            data["s-TOTAL_FORMS"] = str(number + 1)
        return data

    @property
    def is_bound(self) -> bool:
        return self.asked

    @property
    def data(self) -> Any:
        return self.parcel.data

    def forms(self) -> list[tuple[str, forms.Form]]:
        numbered = [(f"Sample {n}", form) for n, form in enumerate(self.samples.forms, start=1)]
        return [("Parcel", self.parcel), *numbered, ("Test", self.wish)]

    def is_valid(self) -> bool:
        return self.asked and self.samples.is_valid() and all(form.is_valid() for _, form in self.forms())

    def problems(self) -> list[tuple[str, str]]:
        """(address of the field, sentence), in the order of the page; none before it is sent."""
        if not self.asked:
            return []
        found = [("", str(error)) for error in self.samples.non_form_errors()]
        for name, form in self.forms():
            found += [("", f"{name}: {error}") for error in form.non_field_errors()]
            for field in form:
                place = f"div_{field.auto_id}" if field.use_fieldset else field.id_for_label
                found += [(f"#{place}", f"{name}, {field.label}: {error}") for error in field.errors]
        return found

    def details(self) -> Announced:
        parcel = self.parcel.cleaned_data
        return Announced(samples=tuple(map(typed, self.samples.forms)), test=typed(self.wish), **parcel)


def typed(form: forms.Form) -> dict[str, str]:
    """The fields of a form as they were typed; a tick is "on"."""
    return {name: "on" if form[name].value() is True else str(form[name].value() or "") for name in form.fields}


def sheet_data(row: Announcement, now: datetime) -> QueryDict:
    """The receiving page as if somebody had typed what was announced; nothing is found fault with yet."""
    data = QueryDict(mutable=True)
    contact = row.by.full_name
    note = f"Announced {row.at:%-d %b %Y} by {contact}. {row.remark}".strip()
    data.update({"do": "look", "job-customer": row.customer.name, "job-contact": contact, "job-priority": "normal"})
    data["job-received_at"] = typed_moment(now)
    data.update({"job-purchase_order": row.purchase_order, "job-notes": note[:2000]})
    for number, sample in enumerate(row.samples):
        data.update({"sample": str(number), f"s{number}-request": "0"})
        data.update({f"s{number}-{name}": text for name, text in sample.items() if text})
        data.update({f"s{number}-r0-{name}": text for name, text in row.test.items() if text})
    return data
