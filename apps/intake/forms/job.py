"""The job itself: who sent what when, and until when it is promised."""

from datetime import date, datetime
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from apps.accounts.models import Customer
from apps.accounts.queries import find_customer, search_customers
from apps.core import clock
from apps.core.errors import Refusal
from apps.intake.forms.fields import Lines, OneLine
from apps.intake.models import Job
from apps.intake.services import JobDetails, NewCustomer

FIRST_YEAR, YEARS_AHEAD = 2000, 5
TYPED = "%Y-%m-%dT%H:%M"


def typed_moment(moment: datetime) -> str:
    return timezone.localtime(moment).strftime(TYPED)


class JobFields(forms.Form):
    """What a job says, whether it comes in or is put right."""

    customer = OneLine(
        max_length=150,
        help_text="Type a few letters and choose, or type a new name.",
        widget=forms.TextInput(attrs={"list": "customers", "autocomplete": "off"}),
    )
    contact = OneLine(max_length=150, required=False, help_text="Whom to ask about this job.")
    purchase_order = OneLine(max_length=80, required=False)
    received_at = forms.DateTimeField(
        label="Received", widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format=TYPED)
    )
    due_on = forms.DateField(
        label="Due", required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    priority = forms.ChoiceField(choices=Job.Priority.choices, initial=Job.Priority.NORMAL, widget=forms.RadioSelect)
    notes = Lines(max_length=2000, required=False, help_text="For the lab only; no report prints it.")
    promise_anyway = forms.BooleanField(label="Promise it all the same", required=False)

    def clean_received_at(self) -> datetime:
        moment = self.cleaned_data["received_at"]
        if moment.year < FIRST_YEAR:
            raise ValidationError("Check the year.")
        try:
            clock.check_moment(moment, what="The receipt")
        except Refusal as refusal:
            raise ValidationError(str(refusal)) from refusal
        return moment

    def clean_due_on(self) -> date | None:
        due, received = self.cleaned_data["due_on"], self.cleaned_data.get("received_at")
        if due is None:
            return None
        if not FIRST_YEAR <= due.year <= clock.now().year + YEARS_AHEAD:
            raise ValidationError("Check the year.")
        if received is not None and due < timezone.localdate(received):
            raise ValidationError("The due date lies before the day of receipt.")
        return due

    def check_promise(self, earliest: date | None) -> None:
        """A promise that cannot be kept asks for a second look."""
        due = self.cleaned_data.get("due_on")
        if due is None or earliest is None or due >= earliest or self.cleaned_data.get("promise_anyway"):
            return
        sentence = (
            f"The earliest possible finish is {earliest:%a %-d %b %Y}. "
            "Choose a later day, or tick “Promise it all the same”."
        )
        self.add_error("due_on", ValidationError(sentence, code="too_early"))

    @property
    def asks_promise(self) -> bool:
        """The tick appears with the question, and stays while it is ticked."""
        return self.has_error("due_on", "too_early") or self["promise_anyway"].value() in (True, "on")

    def _details(self, customer: Customer | NewCustomer) -> JobDetails:
        names = ("received_at", "contact", "purchase_order", "due_on", "priority", "notes")
        return JobDetails(customer=customer, **{name: self.cleaned_data[name] for name in names})


class JobForm(JobFields):
    """A job comes in. A name that nobody has asks whether this is a new customer."""

    new_customer = forms.BooleanField(label="This is a new customer", required=False)
    new_address = Lines(label="Address", max_length=500, required=False)
    new_contact = OneLine(label="Contact at the customer", max_length=150, required=False)
    new_email = forms.EmailField(label="E-mail", max_length=254, required=False)

    def __init__(self, data: Any = None, *, now: datetime, **kwargs) -> None:
        super().__init__(data, initial={"received_at": typed_moment(now)}, prefix="job", **kwargs)

    def clean(self) -> dict[str, Any]:
        name = self.cleaned_data.get("customer")
        if name:
            self._find_customer(name)
        return self.cleaned_data

    def _find_customer(self, name: str) -> None:
        if self.cleaned_data.get("new_customer"):
            # Whether the name is taken is asked when it is written: a form sent twice must find its own customer.
            self.cleaned_data["known"] = NewCustomer(
                name=name,
                address=self.cleaned_data.get("new_address", ""),
                contact=self.cleaned_data.get("new_contact", ""),
                email=self.cleaned_data.get("new_email", ""),
            )
        elif (known := find_customer(name)) is not None:
            self.cleaned_data["known"] = known
        else:
            self.add_error("customer", ValidationError(unknown_customer(name), code="unknown"))

    @property
    def opens_new_customer(self) -> bool:
        return self.has_error("customer") or self["new_customer"].value() in (True, "on")

    def details(self) -> JobDetails:
        return self._details(self.cleaned_data["known"])


def unknown_customer(name: str, *, elsewhere: bool = False) -> str:
    """A sentence that names the nearest, for a name that nobody has."""
    near = list(search_customers(name.split()[0]).values_list("name", flat=True)[:3])
    told = f" Similar: {', '.join(near)}." if near else ""
    way = "Add it under Customers first." if elsewhere else "Choose one, or tick “This is a new customer”."
    return f"No customer has this name.{told} {way}"
