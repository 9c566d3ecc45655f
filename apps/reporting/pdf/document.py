"""The whole report in the order of its reader: the answer first, then what it rests on."""

from io import BytesIO

from reportlab.platypus import Flowable

from apps.core.ink import END, has_unprintable, register_faces, say
from apps.reporting.facts import Facts
from apps.reporting.pdf import annex, front
from apps.reporting.pdf.sheet import Sheets


def build(facts: Facts) -> bytes:
    """The PDF of a report. Set twice: the first time only counts the pages."""
    register_faces()
    _, pages = _set(facts, 0)
    content, _ = _set(facts, pages)
    return content


def _set(facts: Facts, total: int) -> tuple[bytes, int]:
    file = BytesIO()
    sheets = Sheets(file, facts, total)
    sheets.build(_story(facts))
    return file.getvalue(), sheets.page


def _story(facts: Facts) -> list[Flowable]:
    return [
        *front.letterhead(facts),
        *front.who_and_when(facts),
        *front.notices(facts),
        *front.results(facts),
        *front.authorisation(facts),
        *annex.items(facts),
        *annex.methods(facts),
        *annex.cutting(facts),
        *annex.curves(facts),
        *annex.laundering(facts),
        *annex.readings(facts),
        *annex.deviations(facts),
        *annex.decision(facts),
        *annex.statements(facts, boxes=has_unprintable(facts.data)),
        *annex.records(facts),
        say(f"End of report {facts.number}", END),
    ]
