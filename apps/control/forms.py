"""What is asked about checks."""

from typing import Any

from django import forms

from apps.accounts.models import Customer, User
from apps.control.models import Baseline, Check, CheckFabric, Direction
from apps.control.queries import Series, washed_loads
from apps.control.queries.work import STEPS, customers_in_hand
from apps.control.services.points import Typed
from apps.core.errors import Refusal
from apps.equipment.models import Equipment
from apps.methods.models import LaunderingProcedure

UNITS = [("mm", "mm"), ("cm", "cm"), ("in", "in")]


class ActForm(forms.Form):
    """A form whose act may be refused: the sentence goes beside its field."""

    def put_beside(self, refusal: Refusal) -> None:
        self.add_error(refusal.field if refusal.field in self.fields else None, str(refusal))


def of_column(model: Any, name: str, **options: Any) -> forms.Field:
    return model._meta.get_field(name).formfield(**options)


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


class RunForm(ActForm):
    load = forms.ChoiceField(label="Load that it ran with")
    unit = forms.ChoiceField(choices=UNITS, initial="mm")
    length_before = ReadingsField("Length, originals")
    length_after = ReadingsField("Length, after the run")
    width_before = ReadingsField("Width, originals")
    width_after = ReadingsField("Width, after the run")

    def __init__(self, *args: Any, check: Check, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        loads = [(str(load.pk), f"Load {load.pk}, {load.wash_started_at:%-d %b %Y}") for load in washed_loads(check)]
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


class ReasonForm(ActForm):
    reason = forms.CharField(max_length=200)
