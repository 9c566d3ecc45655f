"""The lab's own settings."""

from dataclasses import asdict, replace
from datetime import datetime

from django.db import transaction

from apps.accounts.models import Lab, User
from apps.accounts.services.seen import LabSettings, check_seen, fact, facts_of
from apps.core.errors import Refusal
from apps.core.texts import line, lines
from apps.trail import services as trail


@transaction.atomic
def change_lab_settings(*, settings: LabSettings, by: User, at: datetime, shown: str | None = None) -> Lab:
    """The lab's name, hours, habits or rules change, from now on: what is issued keeps the rules it was made by.

    `shown`: the mark of what the page showed (`seen`).
    """
    settings = _written(settings)
    lab = Lab.objects.select_for_update().get(pk=1)
    wanted = {name: fact(value) for name, value in asdict(settings).items()}
    check_seen(shown, "The lab", facts_of(lab), wanted)
    if settings.closes_at <= settings.opens_at:
        raise Refusal("The lab closes after it opens.", code="lab_hours", field="closes_at")
    changed = {
        name: {"from": fact(getattr(lab, name)), "to": fact(value)}
        for name, value in asdict(settings).items()
        if getattr(lab, name) != value
    }
    if changed:
        for name in changed:
            setattr(lab, name, getattr(settings, name))
        lab.save(update_fields=list(changed))
        trail.record(stream="lab", kind="lab.changed", by=by, at=at, facts=changed)
    return lab


def _written(settings: LabSettings) -> LabSettings:
    """The texts as they will be printed."""
    texts = {
        name: line(getattr(settings, name), most=most, field=name)
        for name, most in (
            ("name", 150),
            ("phone", 60),
            ("location", 200),
            ("accreditation", 200),
            ("water_hardness", 60),
        )
    }
    return replace(settings, **texts, address=lines(settings.address, most=500, field="address"))
