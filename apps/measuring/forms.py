"""What the bench types."""

from collections.abc import Sequence
from typing import Any

from django import forms

from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.intake.models import Specimen
from apps.intake.queries import CuttingWay, label_code
from apps.intake.services import is_late
from apps.measuring.models import ConditioningRule, Reading
from apps.measuring.queries import ExtraCell, Sheet
from apps.measuring.services import Entry, ExtraEntry, GarmentMarks, SheetRefused
from apps.methods.models import MeasuringPoint, TestMethod

LONG = 300
OFF = {"autocomplete": "off"}
UNITS = [
    ("mm", "mm"),
    ("cm", "cm"),
    ("in", "inches, also 9 5/8"),
    ("in8", "1/8 in: 9 5 is 9 5/8"),
    ("in16", "1/16 in: 9 13 is 9 13/16"),
    ("pct", "percent scale: -2.5"),
]
MOMENT = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})


def done_at(label: str) -> forms.DateTimeField:
    help_text = "Only when it is entered later, from paper. Empty: now."
    return forms.DateTimeField(label=label, required=False, widget=MOMENT, help_text=help_text)


class Asked(forms.Form):
    """A form whose refusals are written beside the field they belong to."""

    def put_beside(self, refusal: Exception) -> None:
        field = getattr(refusal, "field", None)
        if getattr(refusal, "code", "") in ("future", "before_previous_step"):
            field = "at"
        self.add_error(field if field in self.fields else None, str(refusal))


class DoneForm(Asked):
    """What may be entered later, from paper: then it says when it was done, and why it comes late."""

    late_reason = forms.CharField(
        label="Why it comes late", max_length=200, required=False, help_text="The report prints it with both times."
    )

    def clean(self) -> dict[str, Any]:
        at, why = self.cleaned_data.get("at"), self.cleaned_data.get("late_reason")
        if at is not None and not why and "late_reason" not in self.errors and is_late(at):
            self.add_error("late_reason", "That is some hours ago. Say why it is entered only now.")
        return self.cleaned_data


class CutForm(DoneForm):
    """How many specimens are cut, and why fewer."""

    count = forms.IntegerField(label="Specimens", min_value=1, max_value=12)
    fewer_reason = forms.CharField(
        label="Why fewer", max_length=LONG, required=False, help_text="Only when fewer than the method asks for."
    )
    outside_reason = forms.CharField(
        label="Where the others were taken from, and why",
        max_length=LONG,
        required=False,
        help_text="Only when more are cut than the plan has room for. The report prints it.",
    )
    plan = forms.CharField(max_length=16, required=False, widget=forms.HiddenInput)
    at = done_at("Done at")

    def __init__(self, data: Any = None, *, method: TestMethod, way: CuttingWay | None) -> None:
        """`way`: the request's part of the cutting plan, where there is one."""
        self.way = way
        fits = len(way.pieces) if way and way.pieces else method.specimens
        super().__init__(data, initial={"count": fits, "fewer_reason": way.reason if way and not way.fits else ""})

    @property
    def asks_outside(self) -> bool:
        return bool(self.way and not self.way.fits) or self.has_error("outside_reason")

    @property
    def mark(self) -> str:
        """The mark of the plan as this page shows it."""
        return self.way.mark if self.way else ""


PANELS = [(name, name) for name in ("front", "back", "left leg", "right leg", "left sleeve", "right sleeve")]


class GarmentForm(CutForm):
    """Where the garments of a request are marked; the points are those of the catalogue for this kind of garment."""

    count = forms.IntegerField(label="Garments", min_value=1, max_value=12)
    points = forms.TypedMultipleChoiceField(
        label="Measuring points", coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )
    square = forms.TypedChoiceField(
        label="Benchmark squares",
        coerce=int,
        choices=[("0", "none"), ("10", "10 in (254 mm)"), ("18", "18 in (457 mm)")],
        required=False,
        empty_value=0,
        widget=forms.RadioSelect,
    )
    panels = forms.MultipleChoiceField(
        label="On which panels", choices=PANELS, required=False, widget=forms.CheckboxSelectMultiple
    )
    near_edge = forms.CharField(
        label="Nearer than one inch to an edge or seam, because",
        max_length=LONG,
        required=False,
        help_text="Only where the panel leaves no room; the report prints it.",
    )

    def __init__(self, data: Any, points: Sequence[MeasuringPoint], **asked: Any) -> None:
        super().__init__(data, **asked)
        self.fields["points"].choices = [(point.pk, point.name) for point in points]
        self.fields["points"].initial = [point.pk for point in points if point.confidence != "L"]
        self.fields["square"].initial = "0"

    @property
    def chosen(self) -> set[str]:
        return {str(value) for value in self["points"].value() or ()}

    @property
    def marks(self) -> GarmentMarks:
        told = self.cleaned_data
        return GarmentMarks(tuple(told["points"]), told["square"], tuple(told["panels"]), told["near_edge"])


class SheetForm(DoneForm):
    """A sheet of readings: one unit, a cell a pair. Cells left empty follow later."""

    unit = forms.ChoiceField(label="Unit of this sheet", choices=UNITS, widget=forms.RadioSelect)
    at = done_at("Read at")
    confirmed = forms.BooleanField(label="I looked again; these values are right", required=False)
    remark = forms.CharField(
        label="Why they are right",
        max_length=LONG,
        required=False,
        help_text="Once for the sheet; the report prints it.",
    )
    early_reason = forms.CharField(
        label="Why it is read before it is conditioned",
        max_length=LONG,
        required=False,
        help_text="The report prints it.",
    )

    def __init__(self, data: Any = None, *, sheet: Sheet) -> None:
        super().__init__(data, initial={"unit": sheet.unit})
        self.asks_again = bool(data and data.get("confirmed"))
        self.is_early = bool(data and data.get("early_reason"))
        for cell in sheet.cells:
            name = self.name_of(cell.pair.pk)
            # What was typed for a pair that somebody else read meanwhile is kept, and answered by the service.
            if cell.due or (data and data.get(name, "").strip()):
                self.fields[name] = forms.CharField(label=cell.label, required=False, widget=forms.TextInput(OFF))

    @staticmethod
    def name_of(pair_id: int) -> str:
        return f"pair_{pair_id}"

    @property
    def entries(self) -> list[Entry]:
        return [
            Entry(int(name.removeprefix("pair_")), text)
            for name, text in self.cleaned_data.items()
            if name.startswith("pair_")
        ]

    def put_beside(self, refusal: Exception) -> None:
        if not isinstance(refusal, SheetRefused):
            self.asks_again = self.asks_again or getattr(refusal, "field", None) in ("confirmed", "remark")
            self.is_early = self.is_early or getattr(refusal, "code", "") == "early"
            super().put_beside(refusal)
            return
        self.asks_again = self.asks_again or refusal.code == "second_look"
        self.error_title = str(refusal)  # above the cells, which are all that there is to correct
        for pair_id, sentence in refusal.cells.items():
            name = self.name_of(pair_id)
            self.add_error(name if name in self.fields else None, sentence)


class ExtrasForm(Asked):
    """Extra measurements of a request at a stage: two distances a row. Rows left empty follow later."""

    unit = forms.ChoiceField(label="Unit", choices=UNITS[:3], widget=forms.RadioSelect, initial="mm")
    reason = forms.CharField(
        label="Why a value is corrected",
        max_length=LONG,
        required=False,
        help_text="Only when one that stands is typed anew; both stay visible.",
    )
    at = done_at("Read at")

    def __init__(self, data: Any = None, *, cells: Sequence[ExtraCell]) -> None:
        super().__init__(data)
        self.all_cells = cells
        self.cells = [cell for cell in cells if cell.due]
        for cell in self.cells:
            for name, end in zip(cell.names, "ab", strict=True):
                label = f"{cell.label} {name}"
                self.fields[f"{cell.key}_{end}"] = forms.CharField(
                    label=label, required=False, max_length=40, widget=forms.TextInput(OFF)
                )

    @property
    def entries(self) -> list[ExtraEntry]:
        typed = self.cleaned_data
        return [
            ExtraEntry(cell.key, cell.extra.pk, cell.specimen.pk, cell.place, one, two)
            for cell in self.cells
            if (one := typed[f"{cell.key}_a"]) + (two := typed[f"{cell.key}_b"])
        ]

    def put_beside(self, refusal: Exception) -> None:
        if not isinstance(refusal, SheetRefused):
            super().put_beside(refusal)
            return
        self.error_title = str(refusal)
        for key, sentence in refusal.cells.items():
            self.add_error(f"{key}_a", sentence)


class CorrectionForm(Asked):
    """The right value, and why the old one was wrong."""

    text = forms.CharField(
        label="Right value",
        max_length=LONG,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    unit = forms.ChoiceField(choices=UNITS, widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Why it is corrected", max_length=LONG, help_text="Both values and this reason stay visible."
    )
    confirmed = forms.BooleanField(label="I looked again; this value is right", required=False)

    def __init__(self, data: Any = None, *, reading: Reading) -> None:
        super().__init__(data, initial={"unit": reading.unit})
        self.asks_again = bool(data and data.get("confirmed"))

    def put_beside(self, refusal: Exception) -> None:
        self.asks_again = self.asks_again or (isinstance(refusal, Refusal) and refusal.code == "second_look")
        super().put_beside(refusal)


class LostMarkForm(Asked):
    """Which mark can no longer be read, and what happened to it."""

    pair = forms.TypedChoiceField(label="Which pair", coerce=int)
    reason = forms.CharField(label="What happened to the mark", max_length=LONG, help_text="The report prints it.")

    def __init__(self, data: Any = None, *, sheet: Sheet) -> None:
        super().__init__(data)
        self.fields["pair"].choices = [(cell.pair.pk, cell.label) for cell in sheet.due]
        # A pair no longer offered comes through: the same form sent twice is answered with what it did.
        self.fields["pair"].valid_value = {str(cell.pair.pk) for cell in sheet.cells}.__contains__


class RackForm(Asked):
    """Specimens that lie in the conditioning room from now on: scanned, or ticked in the list."""

    codes = forms.CharField(
        label="Scan or type codes",
        max_length=2000,
        required=False,
        widget=forms.TextInput({**OFF, "autocapitalize": "characters", "autofocus": True}),
        help_text="One or several. A scanner puts each on the rack as it is read.",
    )
    room = forms.TypedChoiceField(label="Where", coerce=int, empty_value=None, required=False)
    from_dry_side = forms.BooleanField(label="Pre-conditioned: it came in drier than the room's air", required=False)
    hand_ironed = forms.CharField(
        label="Hand ironed before, how", max_length=120, required=False, help_text="Only where it was."
    )
    at = done_at("Since")

    def __init__(
        self, data: Any = None, *, rooms: Sequence[Equipment], waiting: Sequence[Specimen], like: Any = None
    ) -> None:
        """`like`: what was chosen for the specimen before, so that one scan goes the way of the last."""
        room = (like or {}).get("room", rooms[0].pk if rooms else "")
        super().__init__(data, initial={"room": room, "from_dry_side": (like or {}).get("dry") != "off"})
        self.waiting = waiting
        self.fields["room"].choices = [
            *((room.pk, room.name) for room in rooms),
            ("", "a room without a log of the air"),
        ]
        typed = data.getlist("specimen") if data else []
        self.ticked = {int(text) for text in typed if text.isascii() and text.isdigit() and len(text) < 16}

    def clean(self) -> dict[str, Any]:
        found = {specimen.pk for specimen in self.waiting if specimen.pk in self.ticked}
        for code in self.cleaned_data.get("codes", "").split():
            meant = [specimen for specimen in self.waiting if is_meant(code, specimen)]
            if len(meant) == 1:
                found.add(meant[0].pk)
            elif not self.has_error("codes"):
                many = "several specimens; type the whole code" if meant else "no specimen whose readings are due"
                self.add_error("codes", f"“{code[:20]}” is {many}.")
        if not found and not self.has_error("codes"):
            self.add_error("codes", "Scan or tick the specimens that lie on the rack.")
        self.specimen_ids = sorted(found)
        return self.cleaned_data


def is_meant(code: str, specimen: Specimen) -> bool:
    """A label's code with its check character, the specimen's own, or what is written on the cloth."""
    typed = plain(code)
    return typed in (plain(label_code(specimen.code)), plain(specimen.code), plain(specimen.short_code))


def plain(code: str) -> str:
    return "".join(character for character in code.upper() if character.isascii() and character.isalnum())


class WeighForm(Asked):
    """A specimen on the rack is weighed."""

    code = forms.CharField(label="Specimen", max_length=40, widget=forms.TextInput(OFF))
    mass = forms.CharField(label="Mass (g)", max_length=20, widget=forms.TextInput({**OFF, "inputmode": "decimal"}))

    def __init__(self, data: Any = None, *, waiting: Sequence[Specimen]) -> None:
        super().__init__(data, prefix="weigh")
        self.waiting = waiting

    def clean_code(self) -> Specimen:
        meant = [specimen for specimen in self.waiting if is_meant(self.cleaned_data["code"], specimen)]
        if len(meant) != 1:
            raise forms.ValidationError(
                "Several specimens are called so; type the whole code."
                if meant
                else "No specimen whose readings are due has this code."
            )
        return meant[0]


class RuleForm(Asked):
    excursions = forms.ChoiceField(
        label="When the air was out of its limits", choices=ConditioningRule.Becomes.choices, widget=forms.RadioSelect
    )
    gaps = forms.ChoiceField(
        label="When the log paused for too long", choices=ConditioningRule.Becomes.choices, widget=forms.RadioSelect
    )
    early = forms.ChoiceField(
        label="Reading before it is conditioned", choices=ConditioningRule.Early.choices, widget=forms.RadioSelect
    )
