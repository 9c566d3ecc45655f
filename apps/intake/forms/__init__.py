"""What the front desk's pages ask for, and how it is read."""

from apps.intake.forms.announce import Announce, sheet_data
from apps.intake.forms.changes import JobCorrection, RequestChange, ReviewAgain, SampleCorrection, SizeForm
from apps.intake.forms.fields import refuse
from apps.intake.forms.sheet import Sheet
from apps.intake.forms.small import AnswerForm, DeviationForm, FilterForm, MoveForm, SetAsideForm, with_answers

__all__ = [
    "Announce",
    "AnswerForm",
    "DeviationForm",
    "FilterForm",
    "JobCorrection",
    "MoveForm",
    "RequestChange",
    "ReviewAgain",
    "SampleCorrection",
    "SetAsideForm",
    "Sheet",
    "SizeForm",
    "refuse",
    "sheet_data",
    "with_answers",
]
