"""What the manager's pages ask for."""

from collections.abc import Mapping
from typing import Any

from django import forms

from apps.core.errors import Refusal
from apps.intake.models import SendBack
from apps.reporting.queries.approvals import Review, Reviewed


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
        field.choices = [(str(one.request.pk), told(one)) for one in review.ready]
        field.of_job = frozenset(str(request.pk) for request in review.requests)
        self.marks = {one.request.pk: one.mark for one in review.ready}
        if data is not None:
            self.marks = {request.pk: data.get(f"shown-{request.pk}", "")[:64] for request in review.requests}

    @property
    def shown(self) -> list[tuple[str, str]]:
        """Hidden inputs: what the page showed of each request."""
        return [(f"shown-{pk}", mark) for pk, mark in self.marks.items()]

    def chosen(self) -> dict[str, Any]:
        return {"request_ids": self.cleaned_data["requests"], "shown": self.marks}

    def show_anew(self) -> None:
        """The page that answers shows how things stand: from here on that is what was seen."""
        self.marks = {one.request.pk: one.mark for one in self.review.ready}


def told(one: Reviewed) -> str:
    amendment = ", opened by an amendment" if one.is_amended else ""
    return f"{one.facts.short} {one.facts.sample['description']}, {one.facts.method['name']}{amendment}"


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
