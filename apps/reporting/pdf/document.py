"""The whole report in the order of its reader: the answer first, then what it rests on."""

from reportlab.platypus import Flowable

from apps.core.ink import END, has_unprintable, register_faces, say
from apps.reporting.facts import Facts
from apps.reporting.pdf import annex, front, pictures
from apps.reporting.pdf.archive import archived
from apps.reporting.pdf.sheet import Sheets


def build(facts: Facts, images: front.Images | None = None) -> bytes:
    """The file of a report, before it is sealed. `images`: the pictures that the facts name, by their SHA-256."""
    return archived(pages(facts, images), facts)


def pages(facts: Facts, images: front.Images | None = None) -> bytes:
    """Its sheets alone."""
    register_faces()
    return Sheets(facts).finish(_story(facts, images or {}))


def _story(facts: Facts, images: front.Images) -> list[Flowable]:
    return [
        *front.letterhead(facts, images),
        *front.who_and_when(facts),
        *front.notices(facts),
        *front.results(facts),
        *front.authorisation(facts),
        *annex.items(facts),
        *annex.methods(facts),
        *annex.cutting(facts),
        *pictures.photos(facts, images),
        *annex.curves(facts),
        *annex.laundering(facts),
        *annex.readings(facts),
        *annex.deviations(facts),
        *annex.decision(facts),
        *annex.statements(facts, boxes=has_unprintable(facts.data)),
        *annex.records(facts),
        say(f"End of report {facts.number}", END),
    ]
