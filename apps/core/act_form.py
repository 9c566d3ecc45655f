"""Forms of acts: fields as the columns say, and what is refused beside its field."""

from typing import Any

from django import forms

from apps.core.errors import Refusal

MOMENT_CODES = ("future", "before_previous_step")


def of_column(model: Any, name: str, **options: Any) -> forms.Field:
    """A form field as the column says: its label, its length, its choices."""
    return model._meta.get_field(name).formfield(**options)


class ActForm(forms.Form):
    """A form whose act may be refused: the sentence goes beside its field."""

    def put_beside(self, refusal: Refusal) -> None:
        field = "when" if refusal.code in MOMENT_CODES and refusal.field is None else refusal.field
        self.add_error(field if field in self.fields else None, str(refusal))


class ReasonForm(ActForm):
    reason = forms.CharField(max_length=200)
