"""A house that really runs: docker-compose's commands over a PostgreSQL that keeps its promises, or the desk's one
process over its SQLite file. Both come back by themselves when they fall."""

import contextlib
import http.client
import os
import shlex
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

from tests.cluster import SETTINGS, Cluster
from tests.deployment import as_list, build_steps, compose, lay_out_image
from tests.house_rules import ROOT

BIN = Path(sys.executable).parent
PATH = f"{BIN}:{os.environ['PATH']}"
# Tests' clusters let go of what a lab's own must keep.
DURABLE = SETTINGS | {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}
CARELESS = DURABLE | {"synchronous_commit": "off", "wal_writer_delay": "2s"}
PATIENCE = 60


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def until(
    true: Callable[[], object], *, seconds: float = PATIENCE, pause: float = 0, else_say: Callable[[], str] = str
) -> None:
    """Wait for it, and not for ever."""
    deadline = time.monotonic() + seconds
    while not true():
        if time.monotonic() > deadline:
            raise RuntimeError(f"Waited {seconds:.0f} s in vain. {else_say()}")
        time.sleep(pause)


class Supervised:
    """A process that is started again whenever it ends, as compose's `restart: unless-stopped` does.

    It has a process group of its own, so that it falls whole, as a container does; and it never outlives this run.
    """

    def __init__(self, command: list[str], *, folder: Path, environment: dict[str, str], log: Path) -> None:
        self.command = ["setpriv", "--pdeathsig", "KILL", *command]
        self.folder, self.environment, self.log = folder, environment, log
        self.wanted = False
        self.process: subprocess.Popen | None = None

    def start(self) -> None:
        self.wanted = True
        self.keeper = threading.Thread(target=self._keep, daemon=True)
        self.keeper.start()

    def _keep(self) -> None:
        while self.wanted:
            with self.log.open("ab") as log:
                self.process = subprocess.Popen(
                    self.command, cwd=self.folder, env=self.environment, stdout=log, stderr=log, process_group=0
                )
            self.process.wait()
            time.sleep(0.1)

    def fall(self) -> None:
        """All of it is gone at once."""
        if self.process:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)

    def stop(self) -> None:
        self.wanted = False
        if self.process:
            self.process.terminate()
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.fall()
        self.keeper.join()


class House:
    """What the two have in common: an address, a folder, and whether all is well."""

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="fulling-faults-"))
        self.port = free_port()
        self.host = f"127.0.0.1:{self.port}"
        self.log = self.folder / "log"

    def is_well(self) -> bool:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", "/healthz", headers={"Host": self.host})
            return connection.getresponse().status == 200
        except (OSError, http.client.HTTPException):
            return False
        finally:
            connection.close()

    def wait_until_well(self) -> None:
        until(self.is_well, pause=0.05, else_say=lambda: f"The house did not come back.\n{self.last_words()}")

    def wait_until_written(self, key: str) -> None:
        """Until the act of this key stands in the book, asked as often as can be."""
        with self.book() as is_there:
            until(lambda: is_there(key))

    def last_words(self) -> str:
        return "\n".join(self.log.read_text(errors="replace").splitlines()[-40:]) if self.log.exists() else ""

    def clear_up(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    @contextmanager
    def running(self, *supervised: Supervised) -> Iterator[None]:
        try:
            for one in supervised:
                one.start()
            yield
        finally:
            for one in supervised:
                one.stop()


class Server(House):
    """A lab's own server by the commands of docker-compose.yml."""

    def __init__(self, settings: dict[str, str] = DURABLE) -> None:
        super().__init__()
        self.cluster = Cluster(settings)
        self.services = compose(FULLING_HTTPS="no", FULLING_WEB_WORKERS="2")["services"]
        self.host = "lab.example"
        self.environment = self.environment_of("web")
        image = {"folder": self.folder / "image", "log": self.log}
        gunicorn = [part.replace("0.0.0.0:8000", f"127.0.0.1:{self.port}") for part in self.services["web"]["command"]]
        self.web = Supervised(gunicorn, environment=self.environment, **image)
        worker = [*as_list(self.services["worker"]["command"]), "--pause=0.1"]
        self.worker = Supervised(worker, environment=self.environment_of("worker"), **image)

    def environment_of(self, service: str) -> dict[str, str]:
        given = self.services[service]["environment"]
        url = given["DATABASE_URL"].replace("@db:5432/fulling", f"@/production?host={self.cluster.folder}")
        return {**given, "DATABASE_URL": url, "PATH": PATH}

    def lay_out(self) -> None:
        """The image's folder and a migrated database, as compose makes them."""
        self.cluster.start()
        with psycopg.connect(self.cluster.url("postgres"), autocommit=True) as connection:
            connection.execute("CREATE ROLE fulling_owner LOGIN SUPERUSER")
            connection.execute("CREATE DATABASE production OWNER fulling_owner")
        image = self.folder / "image"
        image.mkdir()
        lay_out_image(image)
        for step in build_steps():
            subprocess.run(["sh", "-c", step], cwd=image, env={"PATH": PATH}, check=True, stdout=subprocess.DEVNULL)
        migrate = as_list(self.services["migrate"]["command"])
        environment = self.environment_of("migrate")
        subprocess.run(migrate, cwd=image, env=environment, check=True, stdout=subprocess.DEVNULL)

    @contextmanager
    def book(self) -> Iterator[Callable[[str], bool]]:
        with psycopg.connect(self.cluster.url("production"), autocommit=True) as connection:
            yield lambda key: bool(connection.execute("SELECT FROM trail_trailentry WHERE key = %s", [key]).rowcount)

    def backends(self) -> list[int]:
        """The database's processes that serve the house now."""
        ask = "SELECT pid FROM pg_stat_activity WHERE usename = 'fulling_web'"
        with psycopg.connect(self.cluster.url("postgres")) as connection:
            return [pid for (pid,) in connection.execute(ask)]

    def clear_up(self) -> None:
        self.cluster.stop()
        super().clear_up()


class Desk(House):
    """The embedded set-up: one process with a SQLite file, as the README's first command starts it."""

    def __init__(self) -> None:
        super().__init__()
        self.environment = {"FULLING_DATA": str(self.folder / "data"), "PATH": PATH}
        command = [sys.executable, *shlex.split(f"manage.py demo --port {self.port}")]
        self.web = Supervised(command, folder=ROOT, environment=self.environment, log=self.log)

    def lay_out(self) -> None:
        """The process makes its own file when it first starts."""

    @contextmanager
    def book(self) -> Iterator[Callable[[str], bool]]:
        ask = "SELECT count(*) FROM trail_trailentry WHERE key = ?"
        with contextlib.closing(sqlite3.connect(self.folder / "data" / "fulling-room.sqlite3")) as connection:
            yield lambda key: bool(connection.execute(ask, [key.replace("-", "")]).fetchone()[0])
