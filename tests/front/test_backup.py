"""The whole book in one file and back again, made while people write; a damaged or newer one is refused."""

import json
import os
import random
import subprocess
import sys
from pathlib import Path
from zipfile import ZipFile

import psycopg
import pytest

from apps.core.errors import Refusal
from apps.front.backup.manifest import BOOK, MANIFEST, read

pytestmark = pytest.mark.django_db  # so that the cluster runs also when nothing else does
ROOT = Path(__file__).parents[2]

WORK = """
from datetime import datetime, UTC
from unittest import mock
from apps.core import clock
from tests.cast import NOON, assemble
from tests.reporting.support import an_issued_report
with clock.set_to(NOON):
    an_issued_report(assemble())
"""
WRITE = """
import sys
from apps.accounts.models import User
from apps.accounts.services import create_customer
from apps.core import clock
mara = User.objects.get(username="mara")
for n in range(100_000):
    create_customer(name=f"Customer {n}", address="", contact="", email="", by=mara, at=clock.now())
    print(n, flush=True)
"""


class House:
    """A book of its own, worked on by manage.py as a lab does."""

    def __init__(self, environment: dict[str, str]) -> None:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("FULLING_")}
        self.environment = {**kept, "PYTHONPATH": str(ROOT), **environment}

    def start(self, *arguments: str) -> subprocess.Popen:
        return subprocess.Popen(
            [sys.executable, str(ROOT / "manage.py"), *arguments],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )

    def manage(self, *arguments: str) -> tuple[int, str]:
        process = self.start(*arguments)
        said, complained = process.communicate(timeout=120)
        return process.returncode, said + complained

    def done(self, *arguments: str) -> str:
        code, said = self.manage(*arguments)
        assert code == 0, said
        return said

    def customers(self) -> int:
        return int(
            self.done(
                "shell", "-v0", "-c", "from apps.accounts.models import Customer; print(Customer.objects.count())"
            )
        )


@pytest.fixture
def houses(tmp_path, request, django_db_setup):
    """Makes empty houses, on the database of this leg."""
    made = []

    def make() -> House:
        name = f"house{len(made)}_{random.randrange(10**9)}"
        environment = {"FULLING_DATA": str(tmp_path / name)}
        if os.environ.get("FULLING_TEST_DB") == "postgres":
            cluster = request.getfixturevalue("cluster")
            with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
                connection.execute(f"CREATE DATABASE {name}")
            environment["DATABASE_URL"] = cluster.url(name)
        made.append(House(environment))
        return made[-1]

    return make


@pytest.fixture
def worked(houses) -> House:
    house = houses()
    house.done("migrate", "-v0")
    house.done("shell", "-v0", "-c", WORK)
    return house


def test_a_backup_under_load_comes_back_whole(worked, houses, tmp_path):
    writer = worked.start("shell", "-v0", "-c", WRITE)
    try:
        for _ in range(20):
            assert writer.stdout.readline(), writer.stderr.read()
        before = worked.customers()
        worked.done("backup", str(tmp_path / "book.zip"))
    finally:
        writer.kill()
        writer.communicate()
    after = worked.customers()
    assert after > before, "nobody wrote meanwhile"

    elsewhere = houses()
    assert "each as it was" in elsewhere.done("restore", str(tmp_path / "book.zip"))
    assert before <= elsewhere.customers() <= after
    assert "The book holds together." in elsewhere.done("check_lab")
    # It is not only the same: it goes on.
    create = WRITE.replace("range(100_000)", "range(100_000, 100_001)")
    elsewhere.done("shell", "-v0", "-c", create)
    elsewhere.done("check_lab")

    code, said = elsewhere.manage("restore", str(tmp_path / "book.zip"))
    assert code and "There is a book here already" in said
    code, said = worked.manage("backup", str(tmp_path / "book.zip"))
    assert code and "is there already" in said
    code, said = worked.manage("backup", str(tmp_path / "nowhere" / "book.zip"))
    assert code and "There is no folder" in said
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".backup")]


@pytest.mark.once
def test_a_damaged_or_newer_one_is_refused(worked, houses, tmp_path):
    path = tmp_path / "book.zip"
    worked.done("backup", str(path))
    whole = path.read_bytes()
    manifest = read(path)
    spoilt = tmp_path / "spoilt.zip"
    chance, refused = random.Random(26), 0
    for _ in range(150):
        at = chance.randrange(len(whole))
        spoilt.write_bytes(whole[:at] + bytes([whole[at] ^ 1 << chance.randrange(8)]) + whole[at + 1 :])
        try:
            # A bit of the ZIP's own dates and flags may turn without harm; what it holds never does.
            assert read(spoilt) == manifest
        except Refusal as refusal:
            assert refusal.code in ("damaged", "newer")
            refused += 1
    assert refused > 140
    for length in (0, 1, 100, len(whole) // 2, len(whole) - 1):
        spoilt.write_bytes(whole[:length])
        with pytest.raises(Refusal, match="damaged"):
            read(spoilt)

    elsewhere = houses()
    for change, sentence in (
        ({"format": 2}, "of a newer version of the house. Install that first."),
        ({"migrations": [*manifest.migrations, "intake.9999_later"]}, "of a newer version of the house (intake.9999"),
        ({"vendor": "other"}, "This backup is of other"),
        (
            {"tables": {**manifest.tables, "intake_job": (5, "0" * 64)}},
            "Not every table came back as it was: intake_job",
        ),
        ({"book_sha256": "0" * 64}, "damaged"),
    ):
        with ZipFile(spoilt, "w") as bundle, ZipFile(path) as good:
            bundle.writestr(MANIFEST, json.dumps({**json.loads(good.read(MANIFEST)), **change}))
            bundle.writestr(BOOK, good.read(BOOK))
        code, said = elsewhere.manage("restore", str(spoilt))
        assert code and sentence in said, (change, said)
    code, said = elsewhere.manage("restore", str(tmp_path / "nowhere.zip"))
    assert code and "no backup of this house" in said
