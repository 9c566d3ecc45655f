"""The house is killed (kill -9) between what a tablet asks and the answer: what was acknowledged is in the book, what
was not waits in the tablet and comes again; nothing is lost and nothing doubled.

FULLING_KILL_ROUNDS   how often (default 3; tests/faults/tablet takes 50)
"""

import os
import random
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection
from playwright.sync_api import expect

from apps.core import clock
from apps.laundering.models import CycleLog, KeptTap
from apps.trail.models import TrailEntry
from tests.browser import sign_in
from tests.cast import NOON
from tests.house_rules import ROOT
from tests.laundering.support import dried, ready
from tests.laundering.test_offline_browser import at_the_laundry, back_online, tick, until, waiting
from tests.laundering.wire import State, Wire

pytestmark = pytest.mark.postgres_only
ROUNDS = int(os.environ.get("FULLING_KILL_ROUNDS", "3"))
LONG = 60_000


class House:
    """Gunicorn with two workers over this test's database, as the web role."""

    def __init__(self, database: str, log: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.log = log.open("ab")
        self.environment = {**os.environ, "DATABASE_URL": database, "FULLING_SECRET_KEY": settings.SECRET_KEY}

    def start(self) -> None:
        command = ["setpriv", "--pdeathsig", "KILL", sys.executable, "-m", "gunicorn", "labsite.wsgi:application"]
        given = {"cwd": ROOT, "env": self.environment, "stdout": self.log, "stderr": self.log}
        self.process = subprocess.Popen(
            [*command, f"--bind=127.0.0.1:{self.port}", "--workers=2"], **given, start_new_session=True
        )
        for _ in range(300):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        raise AssertionError(Path(self.log.name).read_text())

    def kill(self) -> None:
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@pytest.fixture
def house(transactional_db, cluster, tmp_path):
    house = House(cluster.url(connection.settings_dict["NAME"], "fulling_web"), tmp_path / "log")
    house.start()
    yield house
    house.kill()


@pytest.fixture
def wire(house):
    wire = Wire("127.0.0.1", house.port)
    yield wire
    wire.close()


def written(load) -> int:
    return CycleLog.objects.filter(piece__load=load).count()


def until_written(load) -> None:
    """An answer is on its way, and the wire loses it."""
    deadline = time.monotonic() + 10
    while not written(load) and time.monotonic() < deadline:
        time.sleep(0.005)
    assert written(load)


def test_killed_between_request_and_answer(page, context, house, wire, people):
    chance, hits = random.Random(26), 0
    for number in range(ROUNDS):
        with clock.set_to(NOON):
            load = dried(people, ready(people))
        if not number:
            sign_in(context, wire, people.lou)
        at_the_laundry(page, wire, load)
        wire.become(State.CUT)
        for piece in range(3):
            tick(page, piece)
            waiting(page, piece + 1)
        page.reload()
        waiting(page, 3)
        lost = number % 2 == 0  # else at any moment of the three
        wire.become(State.ONE_WAY if lost else State.WHOLE)
        back_online(page)
        wire.asked.wait(20)
        until_written(load) if lost else time.sleep(chance.uniform(0, 0.25))
        house.kill()
        hits += 0 < written(load) < 3
        wire.become(State.WHOLE)
        house.start()
        expect(page.locator("#waiting")).to_be_hidden(timeout=LONG)
        until(page, "!document.querySelector('#waiting li')")
        codes = list(
            CycleLog.objects.filter(piece__load=load).order_by("pk").values_list("specimen__number", flat=True)
        )
        assert codes == [1, 2, 3], (number, codes)
    entries = TrailEntry.objects.filter(kind="cycle.ticked")
    assert entries.count() == CycleLog.objects.count() == 3 * ROUNDS
    assert not KeptTap.objects.exists()
    assert hits, "no kill fell into the middle"
