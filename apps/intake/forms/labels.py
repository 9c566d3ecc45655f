"""Which samples and specimens of a job get a label."""

from collections.abc import Mapping
from typing import Any

from django import forms

from apps.core.label_form import LabelForm
from apps.core.labels import Label
from apps.intake.labels import sample_label, specimen_label
from apps.intake.models import Job, Sample, Specimen


class JobLabels(LabelForm):
    pick = forms.MultipleChoiceField(label="For", widget=forms.CheckboxSelectMultiple)

    field_order = ("pick", "stock", "start", "copies")

    def __init__(self, data: Mapping[str, Any] | None, job: Job, *, only: str = "") -> None:
        """`only`: the sample whose labels are ticked at first; else all of the job's."""
        super().__init__(data)
        self.things: dict[str, Sample | Specimen] = {}
        first = []
        for sample in job.samples.all():
            pieces = [piece for request in sample.requests.all() for piece in request.specimens.all()]
            self.things |= {thing.code: thing for thing in (sample, *pieces)}
            if only in ("", sample.code):
                first += [thing.code for thing in (sample, *pieces)]
        self.fields["pick"].choices = [
            (code, f"{code} {thing.description if isinstance(thing, Sample) else ''}".strip())
            for code, thing in self.things.items()
        ]
        self.fields["pick"].initial = first

    def labels(self) -> list[Label]:
        picked = [self.things[code] for code in self.cleaned_data["pick"]]
        made = [sample_label(one) if isinstance(one, Sample) else specimen_label(one) for one in picked]
        return [label for label in made for _ in range(self.cleaned_data["copies"])]
