from datetime import timedelta
from unittest.mock import patch

from django.core import mail
from django.db import transaction

from apps.accounts.models import Outgoing
from apps.accounts.services import send_due, send_later
from apps.accounts.services.letters import LONGEST_WAIT
from apps.trail.models import TrailEntry
from tests.cast import NOON, LabTestCase

BACKEND = "django.core.mail.backends.locmem.EmailBackend.send_messages"


def a_letter(to: str = "casey@example.com", subject: str = "Your report", at=NOON) -> Outgoing:
    return send_later(to=to, subject=subject, body="It is ready.", at=at)


class OutboxTests(LabTestCase):
    def test_a_letter_goes_once(self):
        letter = a_letter()
        self.assertEqual(mail.outbox, [])
        self.assertEqual(send_due(now=NOON), 1)
        self.assertEqual([(one.to, one.subject) for one in mail.outbox], [(["casey@example.com"], "Your report")])
        letter.refresh_from_db()
        self.assertEqual((letter.sent_at, letter.tries), (NOON, 1))
        self.assertEqual(TrailEntry.objects.get(stream="mail").facts["letter"], letter.pk)
        self.assertEqual(send_due(now=NOON + timedelta(days=1)), 0)

    def test_it_is_not_written_when_the_act_fails(self):
        with self.assertRaises(ValueError), transaction.atomic():
            a_letter()
            raise ValueError
        self.assertFalse(Outgoing.objects.exists())

    def test_it_waits_for_its_time(self):
        a_letter(at=NOON + timedelta(hours=1))
        self.assertEqual(send_due(now=NOON), 0)

    def test_a_subject_is_one_line(self):
        a_letter(subject="Report\r\nBcc: everybody@example.com " + "x" * 300)
        send_due(now=NOON)
        self.assertTrue(mail.outbox[0].subject.startswith("Report Bcc: "))
        self.assertEqual(len(mail.outbox[0].subject), 200)

    def test_one_that_fails_stays_and_the_others_go(self):
        bad, good = a_letter(to="nobody@example.com"), a_letter()

        def server(backend, letters):
            if letters[0].to == ["nobody@example.com"]:
                raise OSError("550 no such box " + "x" * 600)
            return 1

        with patch(BACKEND, server):
            self.assertEqual(send_due(now=NOON), 1)
        bad.refresh_from_db()
        good.refresh_from_db()
        self.assertIsNone(bad.sent_at)
        self.assertTrue(bad.last_error.startswith("OSError: 550"))
        self.assertEqual(good.sent_at, NOON)

    def test_it_is_tried_again_later_and_later_and_never_given_up(self):
        letter, now, waits = a_letter(), NOON, []
        with patch(BACKEND, side_effect=OSError("no connection")):
            for _ in range(14):
                self.assertEqual(send_due(now=now), 0)
                letter.refresh_from_db()
                waits.append(letter.next_try_at - now)
                self.assertEqual(send_due(now=letter.next_try_at - timedelta(seconds=1)), 0)
                now = letter.next_try_at
        self.assertEqual(waits, sorted(waits))
        self.assertEqual((waits[0], waits[-1]), (timedelta(minutes=2), LONGEST_WAIT))
        self.assertEqual(letter.tries, 14)
        self.assertEqual(send_due(now=now), 1)

    def test_a_sender_who_dies_midway_loses_nothing(self):
        letter = a_letter()
        with patch(BACKEND, side_effect=KeyboardInterrupt), self.assertRaises(KeyboardInterrupt):
            send_due(now=NOON)
        letter.refresh_from_db()
        self.assertIsNone(letter.sent_at)
        self.assertEqual(send_due(now=letter.next_try_at), 1)
