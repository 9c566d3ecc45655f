"""What an act asks for beside its figures: when, why so late, why otherwise, a reason, a judgement."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from django import forms

from apps.core.errors import Refusal
from apps.intake.services import is_late
from apps.laundering.forms.fields import Moment, Words
from apps.laundering.models import VoidJudgement
from apps.laundering.services import NotAsAsked

# Why a tap comes late that a tablet brings; always said of one, so that sent again it is the same act.
WAITED = "it waited in the tablet for a connection"
MOMENT_CODES = ("future", "before_previous_step", "after_next_step")
# What may not be as asked, by the code of the problem: the label of the field where its own reason is written.
WHY = {
    "procedure": "washed differently",
    "spin": "spun and not spun together",
    "construction": "woven and knit together",
    "bleeds": "may bleed or shed",
    "overdue": "the machine is overdue",
    "overdue_thermometer": "the thermometer is overdue",
    "overdue_balance": "the balance is overdue",
    "load_mass": "the weight of the load",
    "over_half": "specimens over half of the load",
    "ballast_type": "the type of ballast",
    "detergent": "the detergent",
    "water_temperature": "the water's temperature",
    "programme": "the programme",
    "exhaust": "the exhaust",
    "damp": "still damp",
}


class ActForm(forms.Form):
    """A form whose act may be refused: each sentence goes beside its field."""

    def put_beside(self, refusal: Refusal) -> None:
        if isinstance(refusal, NotAsAsked):
            for problem in refusal.problems:
                self._put(problem.field, problem.sentence)
            self.ask_why([problem.code for problem in refusal.problems])
            return
        field = "when" if refusal.code in MOMENT_CODES and refusal.field is None else refusal.field
        self._put(field, str(refusal))

    def ask_why(self, codes: Sequence[str]) -> None:
        """Where a deviation may be written, several problems are answered one by one."""

    def _put(self, field: str | None, sentence: str) -> None:
        self.add_error(field if field in self.fields else None, sentence)


class WhenForm(ActForm):
    """Asks only when, and only if it was not now."""

    when = Moment(required=False)


class LateForm(WhenForm):
    """What is entered hours later says why; the report prints it with both times."""

    late_reason = Words("Why it comes late", 200, help_text="Only when it is entered hours later, from paper.")

    def clean(self) -> dict[str, Any]:
        when, why = self.cleaned_data.get("when"), self.cleaned_data.get("late_reason")
        if when is not None and not why and "late_reason" not in self.errors and is_late(when):
            self.add_error("late_reason", "That is some hours ago. Say why it is entered only now.")
        if when is None and not why and self.data.get("tapped_at"):
            self.cleaned_data["late_reason"] = WAITED
        return self.cleaned_data


class OtherwiseForm(LateForm):
    """An act that may be done otherwise than asked, once that is written down: one reason for each problem."""

    deviation = Words(
        "Why it is done otherwise", 250, rows=2, help_text="Printed in every report that this load touches."
    )
    at_risk = forms.BooleanField(
        label="No manager is here: I go on at risk, to be judged before approval", required=False
    )

    def __init__(self, *args, manager: bool = False, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        if manager:
            del self.fields["at_risk"]
        if self.is_bound:
            self._add_whys(code for code in WHY if self.add_prefix(f"why_{code}") in self.data)

    def ask_why(self, codes: Sequence[str]) -> None:
        if len(codes) > 1:
            self._add_whys(codes)

    def _add_whys(self, codes: Iterable[str]) -> None:
        for code in codes:
            self.fields.setdefault(f"why_{code}", Words(f"Reason: {WHY[code]}", 250))

    @property
    def whys(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name.startswith("why_")]

    @property
    def otherwise(self) -> bool:
        """The page shows where a deviation is written: something is not as asked, or something was written."""
        return self.is_bound and bool(self.errors or self.data.get(self.add_prefix("deviation")))

    @property
    def written(self) -> dict[str, Any]:
        """As the services take it."""
        data = self.cleaned_data
        reasons = {code: data[f"why_{code}"] for code in WHY if data.get(f"why_{code}")}
        told = {name: data[name] for name in ("deviation", "at_risk", "late_reason") if name in data}
        return {**told, "reasons": reasons}


class ReasonForm(LateForm):
    reason = Words("Reason", 250, needed=True)
    field_order = ["reason", "when", "late_reason"]

    @property
    def why(self) -> dict[str, str]:
        """As the services take it."""
        return {name: self.cleaned_data[name] for name in ("reason", "late_reason")}


class MakeUpForm(OtherwiseForm):
    """Which pieces go into the load; the tick boxes are the page's own."""


class AddPieceForm(OtherwiseForm):
    """One piece more, by what is written or printed on it."""

    code = Words("Scan the label, or type the code", 40, needed=True)
    field_order = ["code", "deviation", "at_risk", "when", "late_reason"]

    def __init__(self, *args, **kwargs) -> None:
        super().__init__(*args, **kwargs)
        self.fields["code"].widget.attrs |= {
            "autocomplete": "off",
            "autocapitalize": "characters",
            "spellcheck": "false",
        }


class JudgeVoidForm(ActForm):
    """What the manager makes of pieces that were wetted without a cycle; the tick boxes are the page's own."""

    decision = forms.ChoiceField(
        label="These pieces",
        choices=[
            (VoidJudgement.Decision.GO_ON, "go on: the report says that they were wetted once more"),
            (VoidJudgement.Decision.REPEAT, "are set aside: the test is repeated on new specimens"),
        ],
        widget=forms.RadioSelect,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Say whether the pieces go on or are repeated."),
    )
    text = Words("What it means for the result", 300, needed=True, rows=2)


class AnswerForm(forms.Form):
    """What the laundry found or did about work that the manager sent back."""

    answer = Words("What you found or did", 500, needed=True, rows=2)


class JudgeKeptForm(forms.Form):
    """What the manager makes of a tap that came too late to fit."""

    judgement = Words("What becomes of it", 500, needed=True, rows=2)


class DayForm(forms.Form):
    """Which day of the log book."""

    day = forms.DateField(
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        input_formats=["%Y-%m-%d"],
        error_messages=dict.fromkeys(("invalid", "required"), "A day, such as 2026-03-02. Shown is today."),
    )

    def clean_day(self) -> date:
        if not 2000 <= self.cleaned_data["day"].year <= 2200:
            raise forms.ValidationError("This day is not in the log book. Shown is today.")
        return self.cleaned_data["day"]
