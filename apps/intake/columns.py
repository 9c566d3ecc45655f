"""Small rules that models, forms and services share.

A class of choices cannot be seen from a model's Meta: the longer lists stand here once more, and a test compares them.
"""

from collections.abc import Sequence

from django.db import models

OPENINGS = ("job_details", "limits", "readings", "cycle_record", "wording")
STAGES = ("cut", "marked", "ready", "in_load", "owed", "done", "set_aside")
DEVIATIONS = (
    *("fewer_specimens", "load", "wash", "drying", "void_cycle"),
    *("reading", "conditioning", "late_entry", "change", "other"),
)


def one_of(name: str, **choices: Sequence[str]) -> models.CheckConstraint:
    """Each of these columns holds one of its choices: Django's `choices` alone bind forms, not rows."""
    return models.CheckConstraint(
        name=name, condition=models.Q(**{f"{column}__in": list(among) for column, among in choices.items()})
    )


def sample_letter(position: int) -> str:
    """The letter of a job's sample: 0 is A, 25 is Z, 26 is AA."""
    first, last = divmod(position, 26)
    return (chr(64 + first) if first else "") + chr(65 + last)
