from typing import Any

from django import forms
from django.contrib.auth import authenticate
from django.http import HttpRequest

from apps.accounts.models import STAFF_ROLES, Customer, Lab, Role, User
from apps.accounts.services import LAB_FIELDS


def _password(label: str, autocomplete: str, help_text: str = "") -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
    return forms.CharField(label=label, strip=False, max_length=200, help_text=help_text, widget=widget)


NEW_PASSWORD_HINT = (
    "Ten characters at least, not only digits, nothing common. A short sentence is easy to keep in mind."
)


class SignInForm(forms.Form):
    error_title = "Not signed in"

    username = forms.CharField(
        label="User name",
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "autofocus": True}),
    )
    password = _password("Password", "current-password")

    def __init__(self, request: HttpRequest, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.request = request
        self.user: User | None = None

    def clean(self) -> dict[str, Any]:
        username, password = self.cleaned_data.get("username"), self.cleaned_data.get("password")
        if username and password:
            self.user = authenticate(self.request, username=username, password=password)
            if self.user is None:
                raise forms.ValidationError("This user name and password do not go together.", code="no_match")
        return self.cleaned_data


class ForgottenForm(forms.Form):
    error_title = "Nothing sent"

    name = forms.CharField(
        label="User name or e-mail address",
        max_length=254,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none", "autofocus": True}),
    )


class NewPasswordForm(forms.Form):
    """A new password, typed twice; of somebody else, or of oneself with the old one.

    `tokens`: what the programs are called that come in as this person, a password changed or not.
    """

    password = _password("New password", "new-password", NEW_PASSWORD_HINT)
    again = _password("The same once more", "new-password")
    end_tokens = forms.BooleanField(label="Somebody else may know the old password: end the tokens too", required=False)

    def __init__(self, *args, tokens: list[str], **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if tokens:
            named = ", ".join(tokens[:5]) + (f" and {len(tokens) - 5} more" if len(tokens) > 5 else "")
            text = f"Programs go on coming in with a token, whatever the password: {named}. Ticked, they no longer do."
            self.fields["end_tokens"].help_text = text
        else:
            del self.fields["end_tokens"]

    def clean(self) -> dict[str, Any]:
        password, again = self.cleaned_data.get("password"), self.cleaned_data.get("again")
        if password and again and password != again:
            self.add_error("again", "The two are not the same. Type the new password into both fields.")
        return self.cleaned_data

    @property
    def chosen(self) -> dict[str, Any]:
        return {"password": self.cleaned_data["password"], "end_tokens": self.cleaned_data.get("end_tokens", False)}


class OwnPasswordForm(NewPasswordForm):
    old = _password("Password until now", "current-password")
    field_order = ["old", "password", "again", "end_tokens"]

    def __init__(self, user: User, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.user = user

    def clean_old(self) -> str:
        if not self.user.check_password(self.cleaned_data["old"]):
            raise forms.ValidationError("This is not your password until now.", code="wrong_password")
        return self.cleaned_data["old"]


class TokenForm(forms.Form):
    name = forms.CharField(
        label="What it is for", max_length=80, help_text="The program or device, such as: tape at bench 2."
    )
    ends_on = forms.DateField(
        label="Last day it holds",
        help_text="A year from now at most.",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


class PersonForm(forms.ModelForm):
    roles = forms.MultipleChoiceField(
        label="Roles in the lab",
        required=False,
        choices=[(role.value, role.label) for role in STAFF_ROLES],
        widget=forms.CheckboxSelectMultiple,
        help_text="As many as fit. None for a customer's person.",
    )

    class Meta:
        model = User
        fields = ["full_name", "email", "customer", "is_active"]
        labels = {"full_name": "Name", "email": "E-mail", "customer": "Company"}
        help_texts = {
            "full_name": "As it stands in reports and in the trail.",
            "customer": "Only for a customer's person: sees this company's jobs and nothing else.",
        }

    field_order = ["username", "full_name", "email", "roles", "customer", "is_active"]

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["customer"].empty_label = "none: works in the lab"
        if self.instance.pk:
            self.fields["roles"].initial = [role.value for role in self.instance.roles]

    def clean_roles(self) -> frozenset[Role]:
        return frozenset(Role(value) for value in self.cleaned_data["roles"])


class NewPersonForm(PersonForm):
    password = _password("First password", "new-password", NEW_PASSWORD_HINT + " Left empty, a letter invites.")

    class Meta(PersonForm.Meta):
        fields = ["username", "full_name", "email", "customer"]
        help_texts = {**PersonForm.Meta.help_texts, "username": "Letters, digits and . @ + - _; it stays as it is."}

    field_order = ["username", "full_name", "email", "roles", "customer", "password"]

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["password"].required = False

    def clean(self) -> dict[str, Any]:
        super().clean()
        letter = self.cleaned_data.get("email") or self.has_error("email")
        if not self.cleaned_data.get("password") and not letter:
            self.add_error("password", "Give a first password, or an e-mail address for an invitation.")
        return self.cleaned_data

    def validate_unique(self) -> None:
        """The service says whether the name is free, capitals or not."""


class CustomerForm(forms.ModelForm):
    class Meta:
        model = Customer
        fields = ["name", "address", "contact", "email"]
        labels = {"contact": "Contact person", "email": "E-mail"}
        help_texts = {"address": "As it is to stand in reports."}
        widgets = {"address": forms.Textarea(attrs={"rows": 3})}

    def validate_unique(self) -> None:
        """The service says whether the name is free, capitals or not."""


class LabForm(forms.ModelForm):
    class Meta:
        model = Lab
        fields = LAB_FIELDS
        labels = {"email": "E-mail", "opens_at": "Opens at", "closes_at": "Closes at"}
        widgets = {
            "address": forms.Textarea(attrs={"rows": 3}),
            "opens_at": forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
            "closes_at": forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        }
