"""A photo comes in, and photos are chosen for a report."""

from collections.abc import Iterable
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from apps.core.errors import Refusal
from apps.core.pictures import MOST_BYTES, Picture, picture
from apps.intake.forms.fields import OneLine
from apps.intake.models import Photo, Sample, Specimen


class PhotoForm(forms.Form):
    """The picture is read and made anew while the form is checked, before anything is locked."""

    error_title = "The photo is not kept"
    file = forms.FileField(
        label="Photo",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png"}),
        help_text=f"JPEG or PNG, {MOST_BYTES // 2**20} MB at most. Where it was taken is not kept.",
    )
    of = forms.ChoiceField(label="It shows", required=False)
    caption = OneLine(label="What is to be seen", max_length=200, required=False)

    def __init__(self, data: Any, files: Any, sample: Sample, specimens: Iterable[Specimen]) -> None:
        super().__init__(data, files, prefix="photo")
        pieces = [(str(piece.pk), f"{piece.short_code} after laundering") for piece in specimens if piece.times_wetted]
        self.fields["of"].choices = [("", f"{sample.letter} as received"), *pieces]

    def clean_file(self) -> Picture:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise ValidationError(f"The file is larger than {MOST_BYTES // 2**20} MB.")
        try:
            return picture(file.read())
        except Refusal as refusal:
            raise ValidationError(str(refusal)) from refusal

    @property
    def specimen_id(self) -> int | None:
        return int(self.cleaned_data["of"]) if self.cleaned_data["of"] else None


class ChooseForm(forms.Form):
    error_title = "The choice is not kept"
    photo = forms.MultipleChoiceField(label="Shown in the report", required=False, widget=forms.CheckboxSelectMultiple)

    def __init__(self, data: Any, photos: Iterable[Photo], chosen: Iterable[Photo], **kwargs: Any) -> None:
        super().__init__(data, initial={"photo": [str(one.pk) for one in chosen]}, **kwargs)
        self.fields["photo"].choices = [
            (str(one.pk), f"{one}{': ' + one.caption if one.caption else ''}") for one in photos
        ]

    @property
    def photo_ids(self) -> list[int]:
        return [int(pk) for pk in self.cleaned_data["photo"]]
