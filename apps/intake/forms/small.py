"""Small forms: looking for a job, moving a sample, a deviation, setting aside, an answer."""

from collections.abc import Iterable
from typing import Any

from django import forms

from apps.intake.forms.fields import Lines, OneLine
from apps.intake.models import Deviation, Sample, SendBack, Specimen

# Written down by hand; the other kinds come about with the act itself.
BY_HAND = [
    (kind.value, kind.label) for kind in Deviation.Kind if kind.value in ("reading", "load", "wash", "drying", "other")
]


class FilterForm(forms.Form):
    q = OneLine(label="Number, customer, purchase order or description", max_length=200, required=False)
    show = forms.ChoiceField(choices=[("", "open"), ("all", "all")], required=False)

    def words(self) -> str:
        """What is looked for; something that cannot be looked for finds everything."""
        return self.cleaned_data.get("q", "") if self.is_valid() else ""


class MoveForm(forms.Form):
    place = OneLine(label="It lies at", max_length=120)

    def __init__(self, data: Any = None) -> None:
        super().__init__(data, prefix="move")


class DeviationForm(forms.Form):
    """About a way of testing as a whole, or about one specimen."""

    about = forms.ChoiceField(label="What it is about")
    kind = forms.ChoiceField(choices=[("", "Choose"), *BY_HAND])
    deviation = Lines(label="What was done otherwise, and why", max_length=500)
    at_risk = forms.BooleanField(label="Done at risk: the manager judges it before approval", required=False)

    def __init__(self, data: Any, sample: Sample) -> None:
        super().__init__(data, prefix="deviation")
        requests = list(sample.requests.all())
        self.choices = [(f"r{row.pk}", f"Way {row.ordinal}: {row.method}") for row in requests]
        for row in requests:
            pieces = [piece for piece in row.specimens.all() if piece.stage != Specimen.Stage.SET_ASIDE]
            self.choices += [(f"s{piece.pk}", f"Specimen {piece.short_code}") for piece in pieces]
        self.fields["about"].choices = [("", "Choose"), *self.choices]
        if len(requests) == 1:
            self.fields["about"].initial = self.choices[0][0]

    def facts(self) -> dict[str, Any]:
        """As `deviate` takes it."""
        about, data = self.cleaned_data["about"], self.cleaned_data
        which = "request_id" if about.startswith("r") else "specimen_id"
        return {which: int(about[1:]), "kind": data["kind"], "text": data["deviation"], "at_risk": data["at_risk"]}


class SetAsideForm(forms.Form):
    specimen = forms.ChoiceField()
    reason = OneLine(label="Why", max_length=300)

    def __init__(self, data: Any, sample: Sample) -> None:
        super().__init__(data, prefix="aside")
        pieces = [piece for row in sample.requests.all() for piece in row.specimens.all()]
        self.pieces = [piece for piece in pieces if piece.stage != Specimen.Stage.SET_ASIDE]
        choices = [(str(piece.pk), piece.short_code) for piece in self.pieces]
        self.fields["specimen"].choices = [("", "Choose"), *choices]
        # A piece no longer offered comes through: the same form sent twice is answered with what it did.
        self.fields["specimen"].valid_value = {str(piece.pk) for piece in pieces}.__contains__


class AnswerForm(forms.Form):
    answer = Lines(label="What you found or did", max_length=500)


def with_answers(rows: Iterable[SendBack]) -> list[tuple[SendBack, AnswerForm]]:
    """Each with an empty form of its own, so that no two fields of a page share a name for the eye or the ear."""
    return [(row, AnswerForm(auto_id=f"id_{row.pk}_%s")) for row in rows]
