"""What is asked about checks and studies."""

from datetime import date
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.formats import date_format

from apps.accounts.models import Customer, User
from apps.control.models import Baseline, Check, CheckFabric, Direction, Study
from apps.control.queries import Series, washed_loads
from apps.control.queries.studies import StudyWhole
from apps.control.queries.work import STEPS, customers_in_hand
from apps.control.services.points import Typed
from apps.control.services.studies import MOST_PEOPLE, MOST_PIECES, MOST_TRIALS, Cell, field_of
from apps.core.act_form import ActForm, of_column
from apps.equipment.models import Equipment
from apps.laundering.models import Load
from apps.methods.models import LaunderingProcedure, TestMethod

UNITS = [("mm", "mm"), ("cm", "cm"), ("in", "in")]


class FabricForm(ActForm):
    name = of_column(CheckFabric, "name", help_text="Such as: plain weave, unbleached cotton.")
    lot = of_column(CheckFabric, "lot", help_text="Another lot is another fabric: it may change otherwise.")
    note = of_column(CheckFabric, "note", required=False, help_text="Where it came from, what its papers say.")


class ProcedureField(forms.ModelChoiceField):
    def label_from_instance(self, procedure: LaunderingProcedure) -> str:
        return f"{procedure} ({procedure.code})"


class PlanForm(ActForm):
    fabric = forms.ModelChoiceField(CheckFabric.objects.none(), empty_label="Choose one")
    washer = forms.ModelChoiceField(Equipment.objects.none(), empty_label="Choose one")
    procedure = ProcedureField(LaunderingProcedure.objects.none(), empty_label="Choose one")
    every_loads = forms.IntegerField(label="Again after (loads)", min_value=1, max_value=10_000, required=False)
    every_days = forms.IntegerField(label="Again after (days)", min_value=1, max_value=3_660, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["fabric"].queryset = CheckFabric.objects.all()
        self.fields["washer"].queryset = Equipment.objects.filter(kind=Equipment.Kind.WASHER)
        self.fields["procedure"].queryset = LaunderingProcedure.objects.filter(retired=False)


class ReadingsField(forms.CharField):
    """Distances with a space between them; the service reads them."""

    def __init__(self, label: str) -> None:
        attrs = {"autocomplete": "off", "placeholder": "250.0 250.5 250.0"}  # a keypad of figures has no space
        super().__init__(label=label, max_length=200, required=False, widget=forms.TextInput(attrs))


def _day(load: Load) -> str:
    """The day of its wash in the lab."""
    return date_format(timezone.localtime(load.wash_started_at), "j M Y")


class RunForm(ActForm):
    load = forms.ChoiceField(label="Load that it ran with")
    unit = forms.ChoiceField(choices=UNITS, initial="mm")
    length_before = ReadingsField("Length, originals")
    length_after = ReadingsField("Length, after the run")
    width_before = ReadingsField("Width, originals")
    width_after = ReadingsField("Width, after the run")

    def __init__(self, *args: Any, check: Check, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        loads = [(str(load.pk), f"Load {load.pk}, {_day(load)}") for load in washed_loads(check)]
        self.fields["load"].choices = [("", "Choose one"), *loads]

    @property
    def typed(self) -> dict[str, Typed]:
        data = self.cleaned_data
        return {name: Typed(data[f"{name}_before"], data[f"{name}_after"]) for name in Direction.values}


class BaselineForm(ActForm):
    first = forms.TypedChoiceField(label="From", coerce=int)
    last = forms.TypedChoiceField(label="To", coerce=int)
    note = of_column(Baseline, "note", label="Why these points are usual")

    def __init__(self, *args: Any, series: Series, **kwargs: Any) -> None:
        super().__init__(*args, auto_id=f"id_{series.direction}_%s", **kwargs)
        points = [(point.pk, f"Load {point.load_id}") for point in series.points]
        self.fields["first"].choices = self.fields["last"].choices = points
        if points:
            self.initial |= {"first": points[0][0], "last": points[-1][0]}


class WorkForm(forms.Form):
    """Which jobs are shown; what makes no sense asks for all."""

    customer = forms.ModelChoiceField(Customer.objects.none(), empty_label="all customers", required=False)
    step = forms.ChoiceField(choices=[("", "every step"), *STEPS.items()], required=False)

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="look_%s", **kwargs)
        self.fields["customer"].queryset = customers_in_hand(user)

    @property
    def asked(self) -> dict[str, Any]:
        self.is_valid()
        customer = self.cleaned_data.get("customer")
        return {"customer_id": customer.pk if customer else None, "step": self.cleaned_data.get("step", "")}


class StudyForm(ActForm):
    method = forms.ModelChoiceField(TestMethod.objects.none(), empty_label="Choose one")
    direction = of_column(Study, "direction")
    unit = of_column(Study, "unit")
    trials = forms.IntegerField(
        label="Times that each person reads a piece", min_value=2, max_value=MOST_TRIALS, initial=2
    )
    readers = forms.ModelMultipleChoiceField(
        User.objects.none(),
        label="Who reads",
        widget=forms.CheckboxSelectMultiple,
        help_text=f"2 to {MOST_PEOPLE} people of the bench.",
    )
    pieces = forms.CharField(
        label="What each of them reads, one a line",
        max_length=3000,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=f"2 to {MOST_PIECES}, such as: A1 length 2. Ten show more than five.",
    )
    note = of_column(Study, "note", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["method"].queryset = TestMethod.objects.filter(retired=False)
        people = User.objects.filter(is_active=True, customer=None).order_by("full_name")
        self.fields["readers"].queryset = people.filter(bench=True) | people.filter(manager=True)

    @property
    def plan(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "method_id": data["method"].pk,
            "reader_ids": [person.pk for person in data["readers"]],
            "pieces": data["pieces"].splitlines(),
            **{name: data[name] for name in ("direction", "unit", "trials", "note")},
        }


class SheetForm(ActForm):
    """The cells that one person still has to read."""

    def __init__(self, *args: Any, whole: StudyWhole, person: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kept = {(r.piece.number, r.trial): r.text for r in whole.readings if r.by_id == person.pk}
        self.rows: list[tuple[str, list[tuple[str, Any]]]] = []
        self.cells: dict[str, Cell] = {}
        for piece in whole.pieces:
            row = []
            for trial in range(1, whole.study.trials + 1):
                cell = (piece.number, trial)
                name = field_of(cell)
                if cell in kept and name not in self.data:  # sent again, it is answered as it was
                    row.append((kept[cell], None))
                    continue
                attrs = {"inputmode": "decimal", "autocomplete": "off"}
                self.cells[name] = cell
                self.fields[name] = forms.CharField(
                    label=f"{piece.name}, reading {trial}",
                    max_length=32,
                    required=False,
                    widget=forms.TextInput(attrs),
                )
                row.append(("", self[name]))
            self.rows.append((piece.name, row))

    @property
    def typed(self) -> dict[Cell, str]:
        return {cell: self.cleaned_data.get(name, "") for name, cell in self.cells.items()}


class SinceForm(forms.Form):
    """From which day on is it looked into? Nothing: since the newest calibration that found it fit for use."""

    since = forms.DateField(
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages={"invalid": "A day, such as 2026-03-02. Shown is what came since the last good calibration."},
    )

    def clean_since(self) -> date | None:
        if (day := self.cleaned_data["since"]) and not 2000 <= day.year <= 2200:
            raise forms.ValidationError("No work is older than that, or so far ahead.")
        return day
