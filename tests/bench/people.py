"""Thirty people of a lab at their browsers: what each opens and sends, and how long each answer took."""

import http.client
import itertools
import random
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from tests.faults.person import Forms

# Per role, and how often of a hundred: a page, or something that is written (WRITES).
DAY = {
    "front_desk": {"receiving": 30, "all jobs": 10, "search": 10, "job": 20, "sample": 15, "move": 15},
    "bench": {"bench": 20, "rack": 5, "sample": 10, "sheet": 15, "results": 10, "read": 35, "cut": 5},
    "laundry": {"queue": 45, "log book": 15, "loads": 20, "bench": 5, "load up": 15},
    "manager": {"approvals": 35, "review": 30, "receiving": 10, "job": 15, "send back": 10},
    "customer": {"my jobs": 45, "my reports": 30, "my job": 25},
}


@dataclass
class Took:
    """Milliseconds of each answer by what was asked, and what went wrong."""

    of: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    errors: list[str] = field(default_factory=list)
    written: int = 0

    def all(self) -> list[float]:
        return [ms for each in self.of.values() for ms in each]


@dataclass
class Hand:
    """What there is to take up; each piece of work is taken once."""

    given: dict[str, Any]
    lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.cells = iter(self.given["cells"])
        self.uncut = iter(self.given["uncut"])
        self.ready = iter(self.given["ready"])
        self.backs = iter(self.given["jobs"])
        self.turn = itertools.count()

    def take(self, what: str) -> list[Any]:
        """The next of it, or nothing."""
        with self.lock:
            return list(itertools.islice(getattr(self, what), 1))

    def one_of(self, what: str) -> str:
        rows = self.given[what]
        return rows[next(self.turn) % len(rows)]

    def page(self, name: str) -> str:
        paths: dict[str, Callable[[], str]] = {
            "receiving": lambda: "/receiving/",
            "all jobs": lambda: f"/receiving/?show=all&page={1 + next(self.turn) % 2}",
            "search": lambda: f"/scan/?q={'poplin' if next(self.turn) % 3 == 0 else self.one_of('jobs')[:8]}",
            "job": lambda: f"/jobs/{self.one_of('jobs')}/",
            "sample": lambda: f"/samples/{self.one_of('samples')}/",
            "bench": lambda: "/bench/",
            "rack": lambda: "/bench/rack/",
            "sheet": lambda: f"/samples/{self.one_of('owed')}/readings/?request=1&stage=1",
            "results": lambda: f"/samples/{self.one_of('samples')}/results/?request=1",
            "queue": lambda: "/laundry/",
            "log book": lambda: "/laundry/logbook/",
            "loads": lambda: f"/laundry/loads/{1 + next(self.turn) % self.given['loads']}/",
            "approvals": lambda: "/approvals/",
            "review": lambda: f"/approvals/{self.one_of('jobs')}/",
            "my jobs": lambda: "/my/",
            "my reports": lambda: "/my/reports/",
            "my job": lambda: f"/my/{self.given['own_jobs'][next(self.turn) % len(self.given['own_jobs'])]}/",
        }
        return paths[name]()

    def act(self, name: str) -> tuple[str, str, dict[str, str]] | None:
        """The page, the form's address, and what is typed; nothing when no such work is left."""
        if name == "move":
            code = self.one_of("samples")
            return f"/samples/{code}/", f"/samples/{code}/move/", {"move-place": f"Shelf {next(self.turn)}"}
        if name == "read":
            for code, pair in self.take("cells"):
                sheet = f"/samples/{code}/readings/?request=1&stage=0"
                return sheet, f"/samples/{code}/readings/enter/", {f"pair_{pair}": "249.5"}
        if name == "cut":
            for code in self.take("uncut"):
                return f"/samples/{code}/cut/1/", f"/samples/{code}/cut/1/", {}
        if name == "load up":
            for pieces in self.take("ready"):
                return "/laundry/", "/laundry/loads/", {"specimen": pieces}
        if name == "send back":
            for number in self.take("backs"):
                form = f"/approvals/{number}/send-back/{self.given['request_of'][number]}/"
                return f"/approvals/{number}/", form, {"to": "bench", "reason": "once more, invented"}
        return None


class Clerk:
    """One person at a browser without script."""

    def __init__(self, port: int, cookie: list[str], took: Took) -> None:
        self.port, self.took = port, took
        self.cookies = dict([cookie])

    def ask(self, name: str, path: str, sent: dict[str, Any] | None = None) -> str:
        headers = {"Host": "localhost", "Cookie": "; ".join(f"{key}={value}" for key, value in self.cookies.items())}
        if sent is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        method, body = ("GET", None) if sent is None else ("POST", urlencode(sent))
        began = time.perf_counter()
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
        except OSError as error:
            self.took.errors.append(f"{name}: {path}: {error}")
            return ""
        finally:
            connection.close()
        self.took.of[name].append(1000 * (time.perf_counter() - began))
        if answer.status not in (200, 302):  # one code that is found is opened at once
            self.took.errors.append(f"{name}: {path}: answered {answer.status}")
        for line in answer.headers.get_all("Set-Cookie") or []:
            key, _, rest = line.partition("=")
            self.cookies[key] = rest.partition(";")[0]
        if sent is not None and answer.status == 302:
            self.took.written += 1
        elif sent is not None:
            self.took.errors.append(f"{name}: {path}: not done")
        return text

    def do(self, name: str, hand: Hand) -> None:
        if name not in WRITES:
            self.ask(name, hand.page(name))
        elif act := hand.act(name):
            page, action, typed = act
            forms = Forms(self.ask(f"page for {name}", page)).found
            form = forms.get(action, forms.get("" if page == action else action))
            if form is None:
                self.took.errors.append(f"{name}: {page} has no form for {action}")
            else:
                self.ask(name, action, {**form, **typed})


WRITES = {"move", "read", "cut", "load up", "send back"}


def work(port: int, people: dict[str, list[list[str]]], hand: Hand, *, seconds: float, pause: float, seed: int) -> Took:
    """Everybody at once for so long, each with a pause of about so many seconds before the next page."""
    took, until = Took(), time.monotonic() + seconds

    def day(role: str, cookie: list[str], chance: random.Random) -> None:
        clerk = Clerk(port, cookie, took)
        for name in wishes(role, chance):
            time.sleep(min(chance.expovariate(1 / pause), 5 * pause))
            if time.monotonic() > until:
                return
            clerk.do(name, hand)

    threads = [
        threading.Thread(target=day, args=(role, cookie, random.Random(f"{seed} {role} {place}")))
        for role, cookies in people.items()
        for place, cookie in enumerate(cookies)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return took


def wishes(role: str, chance: random.Random) -> Iterator[str]:
    names, weights = zip(*DAY[role].items(), strict=True)
    while True:
        yield chance.choices(names, weights)[0]
