"""What the manager's pages ask for."""

from collections.abc import Iterable, Mapping
from typing import Any

from django import forms

from apps.accounts.models import User
from apps.core.errors import Refusal
from apps.intake.models import Request, SendBack
from apps.reporting.queries.approvals import Review, Reviewed
from apps.reporting.queries.verifying import LARGEST

OPENINGS_TOLD = [
    (Request.OpenedFor.JOB_DETAILS, "job details: customer's reference, contact, description of the items"),
    (Request.OpenedFor.LIMITS, "limits: what the results are held against, and the decision rule"),
    (Request.OpenedFor.READINGS, "readings: a distance was read or typed wrong"),
    (Request.OpenedFor.CYCLE_RECORD, "cycle record: what was written of a wash or drying run"),
    (Request.OpenedFor.WORDING, "wording: nothing measured changes; the report is set anew"),
]


class RequestsOfJob(forms.TypedMultipleChoiceField):
    """Offers the requests that are ready. One of the job that no longer is comes through: the service says why not."""

    of_job: frozenset[str] = frozenset()

    def valid_value(self, value: Any) -> bool:
        return str(value) in self.of_job


class ApproveForm(forms.Form):
    """Which requests go into the report, and the password once more. Each request carries a mark of it as shown."""

    requests = RequestsOfJob(
        label="Goes into this report",
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Choose at least one request.",
            "invalid_choice": "One of these is not of this job. Open the page again, then choose.",
        },
    )
    interim = forms.BooleanField(
        label="as an interim report",
        required=False,
        help_text="It says so on its first page. Nothing is locked, the work goes on, a final report takes its place.",
    )
    password = forms.CharField(
        label="Your password",
        help_text="It stands for your signature.",
        strip=False,
        max_length=500,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        error_messages={
            "required": "Type your password; it stands for your signature.",
            "max_length": "This is not your password.",
        },
    )

    def __init__(self, data: Mapping[str, Any] | None, review: Review) -> None:
        super().__init__(data, initial={"requests": [str(one.request.pk) for one in review.proposed]})
        self.review = review
        field = self.fields["requests"]
        field.choices = [(str(one.request.pk), told(one)) for one in review.offered]
        field.of_job = frozenset(str(request.pk) for request in review.requests)
        self.marks = {one.request.pk: one.mark for one in review.offered}
        if data is not None:
            self.marks = {request.pk: data.get(f"shown-{request.pk}", "")[:64] for request in review.requests}

    @property
    def shown(self) -> list[tuple[str, str]]:
        """Hidden inputs: what the page showed of each request."""
        return [(f"shown-{pk}", mark) for pk, mark in self.marks.items()]

    def chosen(self) -> dict[str, Any]:
        chosen = {"request_ids": self.cleaned_data["requests"], "shown": self.marks}
        return {**chosen, "interim": self.cleaned_data["interim"]}

    def show_anew(self) -> None:
        """The page that answers shows how things stand: from here on that is what was seen."""
        self.marks = {one.request.pk: one.mark for one in self.review.offered}


def told(one: Reviewed) -> str:
    more = ", opened by an amendment" if one.is_amended else ""
    more = ", still going on: interim only" if one.may_interim else more
    return f"{one.facts.short} {one.facts.sample['description']}, {one.facts.method['name']}{more}"


class SendBackForm(forms.Form):
    to = forms.ChoiceField(
        label="To", choices=SendBack.To, error_messages={"invalid_choice": "Choose who looks again."}
    )
    reason = forms.CharField(
        label="What should be looked at again",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 3}),
        error_messages={"required": "Say what should be looked at again."},
    )


class JudgeForm(forms.Form):
    judgement = forms.CharField(
        label="What it means for the result",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say what this deviation means for the result."},
    )


def refuse(form: forms.Form, refusal: Refusal) -> None:
    """A refusal becomes a sentence beside the field it is about, or above the form."""
    form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))


def reason_field(label: str, help_text: str = "", *, most: int = 500, missing: str) -> forms.CharField:
    """Why something is done: kept, and where it says so, told to the customer."""
    widget = forms.Textarea(attrs={"rows": 3})
    errors = {"required": missing}
    return forms.CharField(label=label, help_text=help_text, max_length=most, widget=widget, error_messages=errors)


class AmendForm(forms.Form):
    error_title = "Not opened"

    reason = reason_field(
        "What is wrong with it",
        "The corrected report prints this sentence, and the customer reads it.",
        missing="Say what is wrong; the corrected report prints it.",
    )
    opened_for = forms.ChoiceField(
        label="Opened for",
        choices=OPENINGS_TOLD,
        widget=forms.RadioSelect,
        help_text="Only this may be changed. Everything else stays locked.",
        error_messages={
            "required": "Say what the report is opened for.",
            "invalid_choice": "Say what the report is opened for.",
        },
    )


class CloseAmendmentForm(forms.Form):
    error_title = "Not closed"

    reason = reason_field("What was found", "It is kept in the job's record.", missing="Say what was found.")


class WithdrawForm(forms.Form):
    error_title = "Not withdrawn"

    reason = reason_field(
        "Why it no longer stands",
        "The customer is told this at once by e-mail, and reads it on the report's page.",
        missing="Say why; the customer is told.",
    )


class GrantForm(forms.Form):
    person = forms.TypedChoiceField(
        label="Who",
        coerce=int,
        error_messages={"required": "Choose who signs.", "invalid_choice": "Choose one of the lab's managers."},
    )
    deputy = forms.BooleanField(label="as deputy, when nobody else is there", required=False)

    def __init__(self, data: Mapping[str, Any] | None, managers: Iterable[User], **more: Any) -> None:
        super().__init__(data, **more)
        self.fields["person"].choices = [(str(person.pk), person.full_name) for person in managers]


class EndForm(forms.Form):
    reason = reason_field("Why no longer", most=300, missing="Say why; it is kept.")


class FileForm(forms.Form):
    error_title = "Not looked at"

    file = forms.FileField(
        label="The report's PDF",
        help_text="Choose it, or drop it here. It is looked at and not kept.",
        widget=forms.FileInput(attrs={"accept": "application/pdf,.pdf"}),
        error_messages={
            "required": "Choose the report's PDF.",
            "empty": "This file is empty.",
            "invalid": "Choose the report's PDF.",
            "missing": "Choose the report's PDF.",
        },
    )

    def clean_file(self) -> Any:
        if self.cleaned_data["file"].size > LARGEST:
            raise forms.ValidationError("This file is larger than any report of ours.", code="too_large")
        return self.cleaned_data["file"]


class CodeForm(forms.Form):
    error_title = "Not looked at"

    number = forms.CharField(
        label="Report number",
        max_length=20,
        help_text="On every page, such as 26-00147N-01.",
        error_messages={"required": "Type the report's number.", "max_length": "A report number is shorter."},
    )
    code = forms.CharField(
        label="Verification code",
        max_length=40,
        help_text="On the first page.",
        error_messages={"required": "Type the code of the first page.", "max_length": "The code is shorter."},
    )


class LogoForm(forms.Form):
    file = forms.FileField(
        label="Picture",
        required=False,
        help_text="PNG, JPEG, GIF or WebP, at most 5 MB; wide ones look best. It is drawn anew on white.",
        widget=forms.FileInput(attrs={"accept": "image/png,image/jpeg,image/gif,image/webp"}),
        error_messages={"empty": "This file is empty.", "invalid": "Choose a picture."},
    )
    none = forms.BooleanField(label="No logo", required=False)

    def clean(self) -> dict[str, Any]:
        if not self.errors and bool(self.cleaned_data["file"]) == self.cleaned_data["none"]:
            self.add_error("file", "Choose a picture, or tick that there is to be none.")
        return self.cleaned_data

    def content(self) -> bytes | None:
        file = self.cleaned_data["file"]
        return file.read() if file else None
