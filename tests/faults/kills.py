"""What falls, and when: always by kill -9, at a moment that chance picks while people write."""

import contextlib
import os
import random
import signal
import statistics
import threading
import time
from collections.abc import Callable
from pathlib import Path

from tests.faults.house import Desk, Server


def children(pid: int) -> list[int]:
    """The processes that this one has started and that still run."""
    with contextlib.suppress(FileNotFoundError):
        return [int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    return []


def kill(*pids: int) -> None:
    for pid in pids:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


# The web: gunicorn puts up a new worker; compose starts a fallen gunicorn anew.


def one_worker(house: Server, chance: random.Random) -> None:
    kill(chance.choice(children(house.web.process.pid) or [house.web.process.pid]))


def every_worker(house: Server, chance: random.Random) -> None:
    kill(*children(house.web.process.pid))


def whole_gunicorn(house: Server, chance: random.Random) -> None:
    house.web.fall()


# The database: PostgreSQL puts itself right after the first; after the others it is started again, as compose would.


def one_backend(house: Server, chance: random.Random) -> None:
    backends = house.backends()
    if backends:
        kill(chance.choice(backends))


def immediate_stop(house: Server, chance: random.Random) -> None:
    """What `pg_ctl stop -m immediate` does: no checkpoint, the log is read again at the start."""
    house.cluster.server.send_signal(signal.SIGQUIT)
    house.cluster.server.wait()
    house.cluster.run()


def whole_database(house: Server, chance: random.Random) -> None:
    server = house.cluster.server
    kill(server.pid, *children(server.pid))
    server.wait()
    house.cluster.run()


# The desk's one process.


def whole_desk(house: Desk, chance: random.Random) -> None:
    house.web.fall()


def whole_desk_twice(house: Desk, chance: random.Random) -> None:
    """Once more while it comes back: its guards are down for a moment then."""
    house.web.fall()
    time.sleep(chance.uniform(0.2, 2.0))
    house.web.fall()


Kill = Callable[[Server | Desk, random.Random], None]
WEB: list[Kill] = [one_worker, every_worker, whole_gunicorn]
DATABASE: list[Kill] = [one_backend, immediate_stop, whole_database]
DESK: list[Kill] = [whole_desk, whole_desk_twice]


def name_of(kill: Kill) -> str:
    return kill.__name__.replace("_", " ")


class Moment:
    """Counts the forms that go out; with one of them the kill comes, at one of two moments that chance picks between.

    Some milliseconds later, within about the time that such a write takes, so that it falls into the middle of one;
    or as soon as the act is written, so that the answer is lost while the act stands.
    """

    def __init__(
        self, house: Server | Desk, how: Kill, *, writes: int, usual: list[float], chance: random.Random
    ) -> None:
        self.number = chance.randint(1, writes)
        self.when_written = chance.random() < 0.4
        self.delay = chance.uniform(0, 1.3 * statistics.median(usual)) if usual else chance.uniform(0, 0.06)
        self.at = 0.0
        self._house, self._how, self._chance = house, how, chance
        self._sent, self._fault = 0, None
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def __str__(self) -> str:
        when = "once written" if self.when_written else f"{1000 * self.delay:3.0f} ms later"
        return f"{name_of(self._how):<16} at write {self.number:>2}, {when:<12}"

    def one_more(self, key: str) -> None:
        with self._lock:
            self._sent += 1
            if self._sent == self.number:
                self._thread = threading.Thread(target=self._fall, args=[key])
                self._thread.start()

    def _fall(self, key: str) -> None:
        try:
            if self.when_written:
                self._house.wait_until_written(key)
            else:
                time.sleep(self.delay)
            self.at = time.time()
            self._how(self._house, self._chance)
        except Exception as fault:
            self._fault = fault

    def wait(self) -> None:
        """Until it has fallen."""
        self._thread.join()
        if self._fault:
            raise self._fault
