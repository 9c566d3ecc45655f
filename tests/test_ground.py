"""The ground that tests stand on holds: clean tables between tests, guards up, threads with the rights of the pages."""

import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from apps.accounts.models import Lab
from apps.core import clock
from apps.trail import guarding
from apps.trail.models import TrailEntry
from apps.trail.queries import broken_link
from apps.trail.services import record
from tests.browser import listen, sign_in
from tests.cast import NOON, LabTestCase
from tests.racing import at_once


class CastTests(LabTestCase):
    def test_the_clock_stands_at_noon(self):
        assert clock.now() == NOON

    def test_six_people_of_three_houses(self):
        assert [person.is_staff_of_lab for person in self.cast_people()] == [True] * 4 + [False] * 2

    def cast_people(self):
        return [self.fran, self.bea, self.lou, self.mara, self.casey, self.dana]


@pytest.mark.parametrize("turn", range(2))
@pytest.mark.django_db(transaction=True)
def test_tables_are_clean_and_guards_up_after_each_transactional_test(people, turn):
    assert not TrailEntry.objects.exists()
    assert Lab.objects.count() == 1
    assert guarding.missing_triggers() == set()
    with transaction.atomic():
        record(stream="lab", kind="x", by=people.fran, at=NOON, facts={})
    with pytest.raises(IntegrityError):
        TrailEntry.objects.update(kind="y")
    with pytest.raises(IntegrityError):
        TrailEntry.objects.all().delete()


def test_a_page_in_the_browser(live_server, context, page, people):
    address = f"{live_server.url}/password/"
    page.goto(address)
    assert page.url != address
    sign_in(context, live_server, people.casey)
    assert page.goto(address).status == 200
    assert page.url == address


def test_the_browser_tells_of_errors_and_of_what_the_content_policy_refuses(live_server, browser):
    context = browser.new_context()
    complaints = listen(context)
    page = context.new_page()
    page.goto(f"{live_server.url}/sign-in/")
    assert complaints == []
    page.evaluate("document.body.setAttribute('onclick', 'null'); document.body.click()")
    page.evaluate("setTimeout(() => { throw new Error('torn') })")
    page.wait_for_timeout(200)
    context.close()
    assert any("Content Security Policy" in text for text in complaints)
    assert any("torn" in text for text in complaints)


@pytest.mark.race
@pytest.mark.django_db(transaction=True)
def test_eight_at_once_leave_an_unbroken_chain(people):
    @transaction.atomic
    def act():
        return record(stream="lab", kind="x", by=people.lou, at=NOON, facts={}).seq

    assert sorted(at_once(*[act] * 8)) == list(range(1, 9))
    assert broken_link("lab") is None


@pytest.mark.postgres_only
@pytest.mark.django_db(transaction=True)
def test_a_thread_has_the_web_roles_rights_only():
    def act():
        with connection.cursor() as cursor:
            cursor.execute("DROP TRIGGER guard_trail_blob_insert_only_delete ON trail_blob")

    (outcome,) = at_once(act)
    assert isinstance(outcome, ProgrammingError)


KILLED = """
import os, signal
from tests.cluster import Cluster
cluster = Cluster()
cluster.start()
print(cluster.folder, cluster.server.pid, flush=True)
os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.postgres_only
def test_a_killed_run_leaves_no_server_behind():
    root = Path(__file__).parent.parent
    printed = subprocess.run([sys.executable, "-c", KILLED], cwd=root, capture_output=True, text=True).stdout
    folder, pid = printed.split()
    for _ in range(150):
        if not Path(folder).exists():
            break
        time.sleep(0.1)
    assert not Path(folder).exists()
    status = Path(f"/proc/{pid}/stat")
    assert not status.exists() or status.read_text().split(") ")[1][0] == "Z"
