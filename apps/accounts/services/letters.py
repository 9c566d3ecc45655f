"""The outbox: a letter is written in the transaction of the act that causes it, and sent by the worker."""

from datetime import datetime, timedelta

from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Q

from apps.accounts.models import Customer, Lab, Outgoing, User
from apps.trail import services as trail

FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=2), timedelta(hours=6)


def send_later(*, to: str, subject: str, body: str, at: datetime) -> Outgoing:
    """Put a letter in the outbox, in the transaction of the act that causes it (whose trail entry tells of it)."""
    return Outgoing.objects.create(
        to=to, subject=" ".join(subject.split())[:200], body=body, created_at=at, next_try_at=at
    )


def write_to_customer(*, customer: Customer, subject: str, body: str, at: datetime) -> None:
    """A letter to everybody of the company who may sign in and has an address; else to the company's own address."""
    lab = Lab.objects.get(pk=1)
    body = "\n".join([body, "", *filter(None, (lab.name, lab.email, lab.phone))])
    people = User.objects.filter(customer=customer, is_active=True).exclude(email="").order_by("pk")
    for to in list(people.values_list("email", flat=True)) or [customer.email]:
        if to:
            send_later(to=to, subject=subject, body=body, at=at)


def send_due(*, now: datetime) -> int:
    """Send the letters that are due, and say how many went. A letter that fails stays and is tried again, later and
    later; one whose sender died midway is tried again too: better twice than never."""
    sent = 0
    while letter := _take_letter(now):
        try:
            EmailMessage(letter.subject, letter.body, to=[letter.to]).send()
        except Exception as error:  # whatever a mail server does, the other letters go on
            Outgoing.objects.filter(pk=letter.pk).update(last_error=f"{type(error).__name__}: {error}"[:500])
        else:
            _note_sent(letter, now)
            sent += 1
    return sent


@transaction.atomic
def _note_sent(letter: Outgoing, now: datetime) -> None:
    Outgoing.objects.filter(pk=letter.pk).update(sent_at=now, last_error="")
    facts = {"letter": letter.pk, "to": letter.to, "subject": letter.subject, "tries": letter.tries}
    trail.record(stream="mail", kind="letter.sent", by=None, at=now, facts=facts)


@transaction.atomic
def _take_letter(now: datetime) -> Outgoing | None:
    """The next letter due, put off first: nobody else takes it, and no lock is held while the mail server thinks."""
    skip = connection.features.has_select_for_update_skip_locked
    # No letter waits longer than that: a later moment was written while the server's clock was ahead.
    due = Q(next_try_at__lte=now) | Q(next_try_at__gt=now + LONGEST_WAIT)
    waiting = Outgoing.objects.select_for_update(skip_locked=skip).filter(due, sent_at__isnull=True)
    letter = waiting.order_by("next_try_at", "pk").first()
    if letter is not None:
        letter.next_try_at = now + min(FIRST_WAIT * 2 ** min(letter.tries, 10), LONGEST_WAIT)
        letter.tries = min(letter.tries + 1, 30_000)
        letter.save(update_fields=["next_try_at", "tries"])
    return letter
