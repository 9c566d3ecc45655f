"""What the pages of this room ask for."""

from apps.reporting.forms.course import (
    CancelForm,
    CyclesForm,
    ExternalForm,
    NonconformityForm,
    NoteForm,
    RetestForm,
    VoidForm,
)
from apps.reporting.forms.reports import (
    AmendForm,
    ApproveForm,
    CloseAmendmentForm,
    CodeForm,
    EndForm,
    FileForm,
    GrantForm,
    JudgeForm,
    LogoForm,
    SendBackForm,
    WithdrawForm,
    refuse,
)

__all__ = [
    "AmendForm",
    "ApproveForm",
    "CancelForm",
    "CloseAmendmentForm",
    "CodeForm",
    "CyclesForm",
    "EndForm",
    "ExternalForm",
    "FileForm",
    "GrantForm",
    "JudgeForm",
    "LogoForm",
    "NonconformityForm",
    "NoteForm",
    "RetestForm",
    "SendBackForm",
    "VoidForm",
    "WithdrawForm",
    "refuse",
]
