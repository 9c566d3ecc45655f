"""What the laundry asks for."""

from apps.laundering.forms.acts import (
    WAITED,
    ActForm,
    AddPieceForm,
    AnswerForm,
    DayForm,
    JudgeKeptForm,
    JudgeVoidForm,
    LateForm,
    MakeUpForm,
    OtherwiseForm,
    ReasonForm,
)
from apps.laundering.forms.runs import (
    CorrectDryingForm,
    CorrectLoadForm,
    EndDryingForm,
    EndWashForm,
    StartDryingForm,
    StartWashForm,
)

__all__ = [
    "WAITED",
    "ActForm",
    "AddPieceForm",
    "AnswerForm",
    "CorrectDryingForm",
    "CorrectLoadForm",
    "DayForm",
    "EndDryingForm",
    "EndWashForm",
    "JudgeKeptForm",
    "JudgeVoidForm",
    "LateForm",
    "MakeUpForm",
    "OtherwiseForm",
    "ReasonForm",
    "StartDryingForm",
    "StartWashForm",
]
