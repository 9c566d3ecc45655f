"""The demo: an invented lab with jobs at every stage, served by one command; a second start keeps the data."""

import os
import re
import socket
import subprocess
import sys
import time
import urllib.request
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import TestCase

from apps.accounts.models import User
from apps.core import clock
from apps.equipment.models import Equipment
from apps.front.management.commands.worker import work_once
from apps.front.scenario import Scenario
from apps.intake.models import Deviation, Job, Sample, Specimen
from apps.reporting.models import Report
from apps.trail.models import TrailStream
from apps.trail.queries import broken_link

ROOT = Path(__file__).resolve().parent.parent.parent
TODAY = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)


class ScenarioTests(TestCase):
    @classmethod
    def setUpTestData(cls):
        with clock.set_to(TODAY):
            Scenario(TODAY).write()
            work_once()

    def setUp(self):
        self.enterContext(clock.set_to(TODAY))

    def test_has_jobs_at_every_stage(self):
        stages = set(Specimen.objects.values_list("stage", flat=True))
        self.assertEqual(stages, {"marked", "ready", "in_load", "owed", "done"})
        self.assertTrue(Job.objects.filter(samples__requests__specimens__isnull=True).exists(), "one still to be cut")
        self.assertEqual(Report.objects.get().files.count(), 1)
        self.assertEqual(Deviation.objects.count(), 0)

    def test_its_trail_holds_together(self):
        for stream in TrailStream.objects.all():
            self.assertIsNone(broken_link(stream.name), stream.name)

    def test_every_page_of_it_opens_for_everybody_it_concerns(self):
        staff = ["/receiving/", "/bench/", "/laundry/", "/laundry/logbook/", "/methods/", "/equipment/"]
        staff += [f"/jobs/{job.number}/" for job in Job.objects.all()]
        room = Equipment.objects.get(kind="room").pk
        staff += ["/equipment/calendar/", *(f"/equipment/{room}/{page}" for page in ("", "atmosphere/?view=week"))]
        for sample in Sample.objects.all():
            staff += [f"/samples/{sample.code}/{page}" for page in ("", "readings/", "results/")]
        manager = ["/approvals/", "/people/", "/customers/", "/lab/"]
        manager += [f"/approvals/{job.number}/" for job in Job.objects.all()]
        report = f"/reports/{Report.objects.get().number}"
        own = ["/my/", f"{report}/", f"{report}.pdf", f"{report}.csv"]
        for username, paths in {"fran": staff[:1], "mara": staff + manager + own[1:], "casey": own}.items():
            self.client.force_login(User.objects.get(username=username))
            for path in paths:
                with self.subTest(username, path=path):
                    self.assertEqual(self.client.get(path).status_code, 200)

    def test_a_real_labs_book_is_left_alone(self):
        if "DATABASE_URL" in os.environ:
            with self.assertRaisesRegex(CommandError, "keeps to its own SQLite file"):
                call_command("demo", "--no-serve")
        else:
            from apps.accounts.models import Lab

            Lab.objects.update(is_demo=False)
            with self.assertRaisesRegex(CommandError, "a real lab's book"):
                call_command("demo", "--no-serve")


@pytest.mark.once
class CommandTests(TestCase):
    """The command itself, as the README has it."""

    def start(self, folder: Path, port: int) -> subprocess.Popen:
        environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        command = [sys.executable, "manage.py", "demo", "--port", str(port)]
        return subprocess.Popen(
            command, cwd=ROOT, env=environment | {"FULLING_DATA": str(folder)}, stdout=subprocess.PIPE, text=True
        )

    def wait_for(self, port: int) -> str:
        for _ in range(1800):
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/sign-in/") as answer:
                    return answer.read().decode()
            except OSError:
                time.sleep(0.1)
        raise AssertionError("the demo did not answer within three minutes")

    def test_starts_twice_and_keeps_the_data(self):
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        folder = Path(os.environ["FULLING_DATA"]) / "demo"
        told = []
        for _ in range(2):
            demo = self.start(folder, port)
            try:
                self.assertIn("Invented data", self.wait_for(port))
            finally:
                demo.terminate()
                told.append(demo.communicate()[0])
        for text in told:
            self.assertIn(f"http://127.0.0.1:{port}/", text)
            for username in ("fran", "bea", "lou", "mara", "casey", "dana"):
                self.assertRegex(text, rf"(?m)^  {username} ")
        self.assertEqual([len(re.findall("Writing the invented scenario", text)) for text in told], [1, 0])
