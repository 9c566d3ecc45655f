"""How far the files of issued reports are, told on the page of approvals."""

from datetime import timedelta

from apps.core import clock
from apps.reporting import services
from apps.reporting.models import FileDue
from tests.cast import NOON, LabTestCase
from tests.reporting.support import an_issued_report

URL, LINE = "/approvals/", "/approvals/files/"


class MakingTests(LabTestCase):
    def setUp(self):
        self.sign_in(self.mara)

    def test_nothing_is_said_while_nothing_waits(self):
        an_issued_report(self)
        for page in (URL, LINE):
            self.assertNotContains(self.client.get(page), "Files of issued reports")
        self.assertNotContains(self.client.get(LINE), "hx-get")

    def test_how_many_of_how_many(self):
        for _ in range(3):
            an_issued_report(self, with_file=False)
        services.build_pending(limit=1, now=NOON)
        for page in (URL, LINE):
            answer = self.client.get(page)
            self.assertContains(answer, "Files of issued reports: 1 of 3 made.")
            self.assertContains(answer, '<progress id="made" value="1" max="3">')
            self.assertContains(answer, f'hx-get="{LINE}" hx-trigger="every 3s"')
        with clock.set_to(NOON + timedelta(hours=2)):
            self.assertContains(self.client.get(LINE), "0 of 2 made")

    def test_one_that_failed_is_told(self):
        an_issued_report(self, with_file=False)
        FileDue.objects.update(last_error="OSError: no room", tries=1)
        self.assertContains(self.client.get(LINE), "tried in vain")

    def test_who_may(self):
        for who, status in ((self.fran, 403), (self.casey, 403), (None, 302)):
            self.sign_in(who)
            self.assertEqual(self.client.get(LINE).status_code, status)
