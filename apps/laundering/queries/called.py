"""Which piece a label or a typed code means."""

from apps.accounts.models import User
from apps.calc.numbering import is_valid
from apps.core.errors import Refusal
from apps.intake.models import Specimen
from apps.laundering.models import Load

WITH_JOB = "request__sample__job"


def piece_called(user: User, load: Load, text: str) -> Specimen:
    """The specimen that a scanned label or a typed code names. The short code on the cloth (A1) is enough while one
    piece only is called so: of the jobs in the load, else of all that wait."""
    code = "".join(sign for sign in text.upper() if sign.isascii() and sign.isalnum())
    visible = Specimen.objects.visible_to(user).select_related(WITH_JOB)
    whole = [code, *([code[:-1]] if is_valid(code) else [])]  # a label carries a check character over the whole
    exact = visible.filter(code__in=[f"{one[:2]}-{one[2:8]}-{one[8:]}" for one in whole])
    if len(code) > 8 and (found := exact.first()):
        return found
    short = visible.filter(code__endswith=f"-{code}", stage=Specimen.Stage.READY) if code else visible.none()
    of_these = short.filter(request__sample__job__in=load.pieces.values(f"specimen__{WITH_JOB}"))
    for rows in (list(of_these[:2]), list(short[:2])):
        if len(rows) == 1:
            return rows[0]
        if rows:
            raise Refusal(
                f"More than one piece is called {code}. Scan the label, or type the whole code.",
                code="called_twice",
                field="code",
            )
    raise Refusal(f"No piece that may be washed is called {code[:40] or 'so'}.", code="no_such_piece", field="code")
