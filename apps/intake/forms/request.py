"""One way of testing: method, laundering, cycles, limits, and the look at the contract."""

from collections.abc import Callable, Iterable
from itertools import groupby
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from apps.intake.forms.fields import Count, Cycles, OneLine, Percent, text_of
from apps.intake.models import ContractReview, Request
from apps.intake.queries import Catalogue
from apps.intake.services import RequestDetails, ReviewDetails, request_faults
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod

NONE, THESE = "none", "these"
REQUEST_COLUMNS = (
    *("method", "procedure", "drying", "cycles", "measured_after", "length_lower", "length_upper"),
    *("width_lower", "width_upper", "limits_source", "decision_rule"),
)
LIMIT_FIELDS = ("length_lower", "length_upper", "width_lower", "width_upper")


def method_words(method: TestMethod) -> str:
    size = f"specimens {text_of(method.specimen_side_mm)} mm" if method.specimen_side_mm else "the whole garment"
    return f"{method} ({size}, marks {text_of(method.benchmark_mm)} mm)"


def procedure_words(row: LaunderingProcedure) -> str:
    return f"{row.label} {row.title}"


def drying_words(row: DryingProcedure) -> str:
    return f"{row.label} {row.title}"


def _choices(rows: Iterable[Any], heading: Callable[[Any], str], words: Callable[[Any], str]) -> list:
    ordered = sorted(rows, key=heading)
    groups = [(name, [(str(row.pk), words(row)) for row in of]) for name, of in groupby(ordered, heading)]
    return [("", "Choose"), *groups]


class RequestFields(forms.Form):
    """How a sample is tested, whether it is asked for anew or changed."""

    method = forms.ChoiceField(label="Method of test, edition")
    procedure = forms.ChoiceField(label="Laundering procedure", help_text="Of the method's own family.")
    drying = forms.ChoiceField(help_text="Of the method's own family.")
    cycles = Count(label="Wash cycles", initial="3")
    measured_after = Cycles(
        label="Measured after cycles", max_length=200, initial="1,3", help_text="Such as 1,3; the last one always."
    )
    limits = forms.ChoiceField(
        choices=[(NONE, "No limits agreed"), (THESE, "These limits")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether limits are agreed."},
    )
    length_lower = Percent(label="Length, lower (%)", max_length=12)
    length_upper = Percent(label="Length, upper (%)", max_length=12)
    width_lower = Percent(label="Width, lower (%)", max_length=12)
    width_upper = Percent(label="Width, upper (%)", max_length=12)
    limits_as_typed = forms.BooleanField(label="The limits are meant as typed", required=False)
    limits_source = OneLine(
        label="The limits come from",
        max_length=200,
        required=False,
        help_text="Such as: the customer's specification 12, issue 3.",
    )
    decision_rule = forms.ChoiceField(
        choices=[
            (Request.DecisionRule.SIMPLE, "simple: the reported value against the limit"),
            (Request.DecisionRule.GUARDED, "guarded: the limit moved in by the uncertainty"),
        ],
        widget=forms.RadioSelect,
        required=False,
    )

    def __init__(self, *args, catalogue: Catalogue, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.catalogue = catalogue
        self.kind = ""
        self.fields["method"].choices = _choices(
            catalogue.methods.values(), lambda row: f"for a {row.applies_to}", method_words
        )
        family = TestMethod.get_family_display
        for name, rows, words in (
            ("procedure", catalogue.procedures, procedure_words),
            ("drying", catalogue.dryings, drying_words),
        ):
            self.fields[name].choices = _choices(rows.values(), lambda row: family(row), words)

    def clean_method(self) -> TestMethod:
        return self.catalogue.methods.get(self.cleaned_data["method"])

    def clean_procedure(self) -> LaunderingProcedure:
        return self.catalogue.procedures.get(self.cleaned_data["procedure"])

    def clean_drying(self) -> DryingProcedure:
        return self.catalogue.dryings.get(self.cleaned_data["drying"])

    def clean(self) -> dict[str, Any]:
        self._check_choice_of_limits()
        for refusal in request_faults(RequestDetails(**self._order(), **self._limits()), self.kind):
            if not self.has_error(refusal.field):
                self.add_error(refusal.field, str(refusal))
        return self.cleaned_data

    def _check_choice_of_limits(self) -> None:
        """No limit is ever agreed in silence: not by leaving fields empty, not by typing and saying no."""
        choice = self.cleaned_data.get("limits")
        typed = [name for name in LIMIT_FIELDS if self.cleaned_data.get(name) is not None]
        if choice == NONE and typed:
            self.add_error("limits", "Limits are typed below. Choose “These limits”, or empty the fields.")
        if choice != THESE:
            return
        if not typed and not any(self.has_error(name) for name in LIMIT_FIELDS):
            self.add_error("limits", "Type at least one limit, or choose “No limits agreed”.")
        if not self.cleaned_data.get("decision_rule") and not self.has_error("decision_rule"):
            self.add_error("decision_rule", "Say by which rule pass and fail are decided.")
        if not self.cleaned_data.get("limits_as_typed"):
            self._ask_about_signs()
            self._ask_about_steps()

    def _ask_about_signs(self) -> None:
        """A shrinkage limit is below zero; without its minus it would ask the cloth to grow."""
        for direction in ("length", "width"):
            lower = self.cleaned_data.get(f"{direction}_lower")
            upper = self.cleaned_data.get(f"{direction}_upper")
            if lower is not None and lower > 0:
                self._ask(f"{direction}_lower", f"Is {text_of(lower)} meant as −{text_of(lower)}? Minus is shrinkage.")
            if upper is not None and upper < 0 and lower is None:
                size = text_of(-upper)
                self._ask(
                    f"{direction}_upper",
                    f"An upper limit of −{size} means it must shrink by {size} % at least. Minus is shrinkage.",
                )

    def _ask_about_steps(self) -> None:
        """With results to the nearest 0.5 % a limit of −2.8 % is met or missed by rounding alone."""
        method = self.cleaned_data.get("method")
        step = method.rounding_step if method else None
        for name in LIMIT_FIELDS if step else ():
            limit = self.cleaned_data.get(name)
            if limit is not None and limit % step and not self.has_error(name):
                self._ask(
                    name, f"Results are reported to the nearest {text_of(step)} %: this lies between two of them."
                )

    def _ask(self, name: str, question: str) -> None:
        sentence = f"{question} Correct it, or tick “The limits are meant as typed”."
        self.add_error(name, ValidationError(sentence, code="asked"))

    @property
    def asks_as_typed(self) -> bool:
        asked = any(self.has_error(name, "asked") for name in LIMIT_FIELDS)
        return asked or self["limits_as_typed"].value() in (True, "on")

    def review(self) -> ReviewDetails | None:
        return None

    def details(self) -> RequestDetails:
        if self.cleaned_data.get("limits") != THESE:
            return RequestDetails(**self._order(), review=self.review())
        rule = {name: self.cleaned_data[name] for name in ("limits_source", "decision_rule")}
        return RequestDetails(**self._order(), **self._limits(), **rule, review=self.review())

    def _order(self) -> dict[str, Any]:
        names = ("method", "procedure", "drying", "cycles", "measured_after")
        return {name: self.cleaned_data.get(name) for name in names}

    def _limits(self) -> dict[str, Any]:
        return {name: self.cleaned_data.get(name) for name in LIMIT_FIELDS}


class ReviewFields(forms.Form):
    """The look at the contract before work begins; who ticks has looked."""

    can_do = forms.BooleanField(label="We can do it", required=False)
    enough_cloth = forms.BooleanField(label="There is enough cloth", required=False)
    agreed = forms.BooleanField(label="Method, limits, rule and deviations are agreed", required=False)
    label = forms.ChoiceField(
        label="Care label and procedure",
        choices=[("", "no label, or not looked at"), *ContractReview.CareLabel.choices],
        required=False,
        help_text="Bench and report say it when the procedure contradicts the label.",
    )
    remark = OneLine(label="Remark", max_length=300, required=False, help_text="What is still open, if anything.")

    def clean(self) -> dict[str, Any]:
        super().clean()
        data = self.cleaned_data
        all_ticked = data.get("can_do") and data.get("enough_cloth") and data.get("agreed")
        if not all_ticked and not data.get("remark") and not self.has_error("remark"):
            self.add_error("remark", "Not all three are ticked: say what is still open.")
        return self.cleaned_data

    def review(self) -> ReviewDetails:
        data = self.cleaned_data
        return ReviewDetails(
            can_do=data["can_do"],
            enough_cloth=data["enough_cloth"],
            agreed=data["agreed"],
            label=data.get("label", ""),
            remark=data["remark"],
        )


class RequestForm(ReviewFields, RequestFields):
    """A way of testing is asked for, and the contract is looked at."""


def typed_request(values: dict[str, Any]) -> dict[str, Any]:
    """The columns of a request as they stand in the fields."""
    limits = {name: text_of(values[name], sign=True) for name in LIMIT_FIELDS}
    has_limits = any(limits.values())
    return {
        **limits,
        **{name: str(values[name].pk) for name in ("method", "procedure", "drying")},
        "cycles": str(values["cycles"]),
        "measured_after": values["measured_after"],
        "limits": THESE if has_limits else NONE,
        "limits_source": values["limits_source"],
        "decision_rule": values["decision_rule"] if has_limits else "",
    }
