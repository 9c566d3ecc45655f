"""The demo's repeated readings: one study adopted, one in which somebody still has to read."""

from datetime import datetime

from apps.accounts.models import User
from apps.control.services import studies
from apps.methods.models import TestMethod

# Millimetres by piece, each person's two readings; made up.
BENCH = [("244.5", "245"), ("246", "246"), ("243.5", "244"), ("245", "245"), ("247", "246.5")]
MANAGER = [("245", "245"), ("246.5", "246"), ("244", "244"), ("245.5", "245"), ("247", "247")]


def read_again(*, manager: User, bench: User, at: datetime) -> None:
    """Five distances along the length read twice by two people; across the width one of them has read."""
    for direction in ("length", "width"):
        study = studies.plan_study(
            method_id=TestMethod.objects.get(code="aatcc-tm135-2018-small").pk,
            direction=direction,
            unit="mm",
            trials=2,
            pieces=[f"Practice piece {number}, {direction} 2" for number in range(1, 6)],
            reader_ids=[bench.pk, manager.pk],
            note="Every spring, with the rule of bench 2.",
            by=manager,
            at=at,
        )
        for person, rows in ((bench, BENCH), (manager, MANAGER)):
            typed = {(piece, trial): row[trial - 1] for piece, row in enumerate(rows, 1) for trial in (1, 2)}
            if person == bench or direction == "length":
                studies.read_pieces(study_id=study.pk, typed=typed, by=person, at=at)
        if direction == "length":
            studies.adopt_study(study_id=study.pk, by=manager, at=at)
