"""What the views of this room share: reading a post, carrying a form out, showing a stale page anew."""

from collections.abc import Callable

from django.http import HttpRequest

from apps.accounts.models import Role
from apps.calc.errors import CalcError
from apps.core.errors import Refusal, StalePage
from apps.intake.forms import refuse
from apps.intake.forms.changes import Correction

NOT_SAVED = 422


def may_write(request: HttpRequest) -> bool:
    """Whether the page offers what only the front desk and the manager may do."""
    return bool(request.user.roles & {Role.FRONT_DESK, Role.MANAGER})


def carried_out(form, deed: Callable[[], object]) -> bool:
    """Whether a valid form was carried out; a refusal becomes a sentence in it, and a stale page is shown anew."""
    try:
        deed()
    except (Refusal, CalcError) as refusal:
        if isinstance(refusal, StalePage):
            form.row.refresh_from_db()
            form.renew()
        refuse(form, refusal)
        return False
    return True


def corrected(form: Correction, deed: Callable[[], object]) -> bool:
    """The same for a form that must know what its page showed."""
    if form.is_valid():
        return carried_out(form, deed)
    if form.has_error("shown"):
        form.renew()
    return False
