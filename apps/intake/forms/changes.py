"""Putting right what was written. Each form carries what its page showed; a page gone stale keeps what was typed."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.utils.choices import flatten_choices

from apps.accounts.queries import find_customer
from apps.intake.forms.fields import OneLine
from apps.intake.forms.job import JobFields, typed_moment, unknown_customer
from apps.intake.forms.request import REQUEST_COLUMNS, RequestFields, ReviewFields, typed_request
from apps.intake.forms.sample import UNITS, SampleFields, length_field, typed_sample
from apps.intake.forms.shown import seal, unseal, values_of
from apps.intake.models import ContractReview, Request
from apps.intake.queries import Catalogue
from apps.intake.services import JobDetails, RequestDetails, ReviewDetails, SampleDetails

REVIEW = ("can_do", "enough_cloth", "agreed", "label", "remark")


class Correction(forms.Form):
    """A form over a row: starts with what the row says, and knows what the page said when it was opened."""

    columns: tuple[str, ...] = ()
    shown = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20_000)

    def __init__(self, data: Any, row: models.Model, **kwargs) -> None:
        self.row = row
        initial = {**self.typed(values_of(row, self.columns)), "shown": seal(row, self.columns)}
        super().__init__(data, initial=initial, **kwargs)
        self.seen: dict[str, Any] | None = unseal(self["shown"].value() or "", row, self.columns)
        self.meanwhile: list[str] = []

    def typed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """The columns as they stand in the fields."""
        return dict(values)

    def clean_shown(self) -> str:
        if self.seen is None:
            raise ValidationError(
                "This page was open too long. What you typed is kept; look it over and send it again."
            )
        return self.cleaned_data["shown"]

    def renew(self) -> None:
        """Show the row as it is now: where nothing was typed, the row's own words; where something was, that."""
        now = self.typed(values_of(self.row, self.columns))
        before = self.typed(self.seen) if self.seen else now
        changed = [name for name in now if name in self.fields and now[name] != before[name]]
        untouched = [name for name in changed if not self.touched(name, before)]
        self.meanwhile = [f"{self[name].label}: {self._told(name, now[name])}" for name in changed]
        self.data = self.data.copy()
        self.data[self.add_prefix("shown")] = seal(self.row, self.columns)
        for name in untouched:
            self.data.pop(self.add_prefix(name), None)
            if now[name] is not False:
                self.data[self.add_prefix(name)] = "on" if now[name] is True else now[name]

    def touched(self, name: str, before: Mapping[str, Any]) -> bool:
        """Whether somebody typed into this field."""
        typed = self[name].data
        if isinstance(before[name], bool):
            return bool(typed) != before[name]
        return str(typed or "").replace("\r\n", "\n").strip() != str(before[name] or "")

    def _told(self, name: str, value: Any) -> str:
        if isinstance(value, bool):
            return "yes" if value else "no"
        words = dict(flatten_choices(getattr(self.fields[name], "choices", [])))
        return str(words.get(value, value)) or "empty"


class JobCorrection(Correction, JobFields):
    columns = ("customer", "contact", "purchase_order", "received_at", "due_on", "priority", "notes")
    reason = OneLine(
        label="Why it is changed", max_length=300, required=False, help_text="Not needed for due date and notes."
    )

    def typed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        due = values["due_on"].isoformat() if values["due_on"] else ""
        moment = typed_moment(values["received_at"])
        return {**values, "customer": values["customer"].name, "received_at": moment, "due_on": due}

    def clean_customer(self) -> Any:
        name = self.cleaned_data["customer"]
        found = find_customer(name)
        if found is None:
            raise ValidationError(unknown_customer(name, elsewhere=True))
        return found

    def details(self) -> JobDetails:
        details = self._details(self.cleaned_data["customer"])
        return details if self.seen is None else self._to_the_second(details)

    def _to_the_second(self, details: JobDetails) -> JobDetails:
        """The field holds minutes; a time that was left as it stood is the very time that was kept."""
        seen = self.seen["received_at"]
        same = typed_moment(details.received_at) == typed_moment(seen)
        return JobDetails(**{**vars(details), "received_at": seen}) if same else details

    def shown_details(self) -> JobDetails:
        return JobDetails(**self.seen)


class OfSample(Correction):
    """Over what is written of a sample; sizes may come back in another unit than they are kept in."""

    columns = (
        *("description", "construction", "kind", "fibre", "mass_gsm", "colour", "size", "care_label"),
        *("width_mm", "length_mm", "condition", "fault", "bleeds_or_sheds"),
    )

    def typed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        return typed_sample(dict(values))

    def touched(self, name: str, before: Mapping[str, Any]) -> bool:
        other_unit = name in ("width", "length") and super().touched("unit", before)
        return other_unit or super().touched(name, before)

    def shown_details(self) -> SampleDetails:
        return SampleDetails(**self.seen)


class SampleCorrection(OfSample, SampleFields):
    reason = OneLine(label="Why it is changed", max_length=300, required=False)


class SizeForm(OfSample):
    """Width and length of a sample, as the cutting table measures them."""

    error_title = "The size is not kept"
    width = length_field("Width, selvedge to selvedge", "", required=True)
    length = length_field("Length", "", required=True)
    unit = forms.ChoiceField(label="In", choices=UNITS)
    reason = OneLine(label="Why it is changed", max_length=300, initial="measured at the cutting table")

    _millimetres = SampleFields._millimetres

    def typed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        typed = super().typed(values)
        return typed if typed["width"] or typed["length"] else {**typed, "unit": "cm"}

    def clean(self) -> dict[str, Any]:
        unit = self.cleaned_data.get("unit")
        for name in ("width", "length"):
            self.cleaned_data[f"{name}_mm"] = self._millimetres(name, self.cleaned_data.get(name), unit)
        return self.cleaned_data

    def details(self) -> SampleDetails:
        sizes = {name: self.cleaned_data[name] for name in ("width_mm", "length_mm")}
        return SampleDetails(**{**self.seen, **sizes})


class RequestChange(Correction, RequestFields):
    columns = REQUEST_COLUMNS
    reason = OneLine(label="Why it is changed", max_length=300, required=False)

    def __init__(self, data: Any, row: Request, *, catalogue: Catalogue) -> None:
        super().__init__(data, row, catalogue=catalogue)
        self.kind = row.sample.kind

    def typed(self, values: Mapping[str, Any]) -> dict[str, Any]:
        return typed_request(dict(values))

    def shown_details(self) -> RequestDetails:
        measured = tuple(int(part) for part in self.seen["measured_after"].split(","))
        return RequestDetails(**{**self.seen, "measured_after": measured})


class ReviewAgain(Correction, ReviewFields):
    columns = REVIEW

    def __init__(self, data: Any, row: ContractReview) -> None:
        super().__init__(data, row, prefix="review")

    def shown_details(self) -> ReviewDetails:
        return ReviewDetails(**self.seen)
