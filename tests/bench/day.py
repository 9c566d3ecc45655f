"""A day of a large lab with a year behind it: thirty people through gunicorn on PostgreSQL, against floors of the run.

.venv/bin/python -m tests.bench.day                             # 50,000 samples; about a quarter of an hour
.venv/bin/python -m tests.bench.day --samples 2000 --minutes 1

Three books of the same work in hand: with nothing behind it, with a tenth of the year, with all of it. First each page
by itself, the books and a bare page by turns; then the people's day, an empty and a full book by turns.
"""

import argparse
import http.client
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import psycopg

from tests.bench.__main__ import say, table
from tests.bench.people import DAY, WRITES, Clerk, Hand, Took, work
from tests.cluster import SETTINGS, Cluster
from tests.faults.house import Supervised, free_port, until
from tests.house_rules import ROOT

BOOKS = ("empty", "tenth", "year")
# As PostgreSQL comes, and as a lab's own must be: nothing is let go of.
OURS = SETTINGS | {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on", "shared_buffers": "256MB"}
SLOW = 100  # ms that a statement may take without being told of
OURS |= {"log_min_duration_statement": str(SLOW)}
AT_ONCE = 2  # as many as there are processes that answer
SLICE = 20  # seconds that people work at one book before it is the other's turn


def asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests.bench.day", description=__doc__.split("\n\n")[0])
    parser.add_argument("--samples", type=int, default=50_000, help="of the past year (default 50000)")
    parser.add_argument("--waiting", type=int, default=150, help="specimens at each step of the work (default 150)")
    parser.add_argument("--rounds", type=int, default=10, help="turns of each page, ten requests each (default 10)")
    parser.add_argument("--minutes", type=float, default=3, help="that people work at each book (default 3)")
    parser.add_argument("--pause", type=float, default=1.5, help="seconds from page to page (default 1.5)")
    return parser.parse_args()


class Lab:
    """One book, and gunicorn over it."""

    def __init__(self, name: str, cluster: Cluster, folder: Path) -> None:
        self.port, self.log = free_port(), folder / f"{name}.log"
        self.environment = environment(cluster.url(name), folder)
        command = [sys.executable, "-m", "gunicorn", "tests.bench.served", f"--bind=127.0.0.1:{self.port}"]
        command += [f"--workers={AT_ONCE}", "--worker-tmp-dir=/dev/shm", "--timeout=60", "--log-level=warning"]
        self.server = Supervised(command, folder=ROOT, environment=self.environment, log=self.log)

    @contextmanager
    def open(self) -> Iterator["Lab"]:
        self.server.start()
        try:
            until(self.answers, pause=0.1, else_say=lambda: self.log.read_text()[-2000:])
            yield self
        finally:
            self.server.stop()

    def answers(self) -> bool:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)
        try:
            connection.request("GET", "/healthz", headers={"Host": "localhost"})
            return connection.getresponse().status == 200
        except OSError:
            return False
        finally:
            connection.close()


def environment(url: str, folder: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("FULLING_")}
    ours = {"DATABASE_URL": url, "FULLING_DATA": str(folder), "FULLING_SECRET_KEY": "bench" * 12}
    return kept | ours | {"DJANGO_SETTINGS_MODULE": "labsite.settings"}


def write_books(cluster: Cluster, folder: Path, wanted: argparse.Namespace) -> dict[str, Any]:
    """What lies in hand, the same in all three."""

    def year(book: str, *what: str) -> Any:
        command = [sys.executable, "-m", "tests.bench.year", *what]
        done = subprocess.run(
            command, cwd=ROOT, env=environment(cluster.url(book), folder), check=True, stdout=subprocess.PIPE, text=True
        )
        return json.loads(done.stdout)

    with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
        connection.execute("CREATE DATABASE empty")
        migrate = [sys.executable, "manage.py", "migrate", "-v0"]
        subprocess.run(migrate, cwd=ROOT, env=environment(cluster.url("empty"), folder), check=True)
        hand = year("empty", "hand", f"--waiting={wanted.waiting}")
        for book, samples in (("tenth", wanted.samples // 10), ("year", wanted.samples)):
            connection.execute(f"CREATE DATABASE {book} TEMPLATE empty")
            began = time.monotonic()
            held = year(book, "past", f"--samples={samples}")
            counted = ", ".join(f"{held[what]:,} {what}" for what in ("samples", "specimens", "readings", "cycles"))
            say(f"{book}: {counted}; written in {time.monotonic() - began:.0f} s")
    return hand


def pages(labs: dict[str, Lab], hand: dict[str, Any], rounds: int) -> None:
    """Each page by itself: ten requests of one book, ten of the next, over and over; the first turn only warms up."""
    heads = (
        "page",
        "rows",
        "p50 empty",
        "p50 tenth",
        "p50 year",
        "p95 empty",
        "p95 year",
        "growth",
        "year/s",
        "bare/s",
    )
    lines = [(*heads, "of bare")]
    asked_by = {name: role for role, wishes in reversed(DAY.items()) for name in wishes if name not in WRITES}
    for name, role in sorted(asked_by.items()):
        cookies = hand["people"][role][:AT_ONCE]
        rows = rows_of(labs["year"], cookies[0], Hand(hand).page(name))
        took: dict[str, list[float]] = {book: [] for book in (*BOOKS, "bare")}
        spent = dict.fromkeys(took, 0.0)
        for turn in range(rounds + 1):
            for book in took:
                lab = labs["year" if book == "bare" else book]
                ms, seconds = batch(lab, cookies, hand, name, f"/bare/{rows}/" if book == "bare" else "")
                if turn:
                    took[book] += ms
                    spent[book] += seconds
        lines.append((name, str(rows), *page_figures(took, spent)))
        say(f"  {' '.join(lines[-1])}")
    table(*lines)


def page_figures(took: dict[str, list[float]], spent: dict[str, float]) -> list[str]:
    half = [f"{quantile(took[book], 50):.1f}" for book in BOOKS]
    p95 = {book: quantile(took[book], 95) for book in ("empty", "year")}
    rate = {book: len(took[book]) / spent[book] for book in ("year", "bare")}
    ends = [f"{p95['year'] / p95['empty']:.2f}", *(f"{each:.0f}" for each in rate.values())]
    return [*half, *(f"{ms:.1f}" for ms in p95.values()), *ends, f"{rate['year'] / rate['bare']:.2f}"]


def batch(lab: Lab, cookies: list[list[str]], hand: dict[str, Any], name: str, fixed: str) -> tuple[list[float], float]:
    """Ten requests by two at once: the time of each, and of all."""
    took, each = Took(), Hand(hand)

    def ask(cookie: list[str]) -> None:
        clerk = Clerk(lab.port, cookie, took)
        for _ in range(10 // AT_ONCE):
            clerk.ask(name, fixed or each.page(name))

    threads = [threading.Thread(target=ask, args=[cookie]) for cookie in cookies]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if took.errors:
        raise SystemExit(f"{name}: {took.errors[0]}")
    return took.all(), time.perf_counter() - began


def rows_of(lab: Lab, cookie: list[str], path: str) -> int:
    main = Clerk(lab.port, cookie, Took()).ask("look", path).partition("<main")[2]
    return max(1, main.count("<tr") - main.count("<thead") or main.count("<li>"))


def day(labs: dict[str, Lab], hand: dict[str, Any], wanted: argparse.Namespace) -> None:
    """Thirty people, the empty and the full book by turns."""
    hands = {book: Hand(hand) for book in ("empty", "year")}
    all_: dict[str, Took] = {book: Took() for book in hands}
    spent = dict.fromkeys(hands, 0.0)
    turns = max(1, round(60 * wanted.minutes / SLICE))
    for turn in range(turns):
        for book in hands if turn % 2 else reversed(hands):
            began = time.monotonic()
            seconds = min(SLICE, 60 * wanted.minutes)
            took = work(labs[book].port, hand["people"], hands[book], seconds=seconds, pause=wanted.pause, seed=turn)
            spent[book] += time.monotonic() - began
            all_[book].written += took.written
            all_[book].errors += took.errors
            for name, ms in took.of.items():
                all_[book].of[name] += ms
    lines = [("thirty people", "requests", "a second", "written", "errors", "p50 ms", "p95 ms", "p99 ms")]
    for book, took in all_.items():
        ms = took.all()
        parts = (len(ms), f"{len(ms) / spent[book]:.1f}", took.written, len(took.errors))
        lines.append((book, *map(str, parts), *(f"{quantile(ms, percent):.0f}" for percent in (50, 95, 99))))
    table(*lines)
    lines = [("asked or sent", "number", "p50 empty", "p50 year", "p95 empty", "p95 year")]
    for name in sorted(all_["year"].of):
        ms = [took.of.get(name) or [0.0] for took in all_.values()]
        cells = [f"{quantile(each, percent):.0f}" for percent in (50, 95) for each in ms]
        lines.append((name, str(len(all_["year"].of[name])), *cells))
    table(*lines)
    for error in [error for took in all_.values() for error in took.errors][:10]:
        say(f"error: {error}")


def slow_statements(log: str) -> None:
    """What the database itself took long for, worst first, those alike together."""
    found: dict[str, list[float]] = {}
    for ms, sql in re.findall(r"duration: ([\d.]+) ms  statement: (.*)", log):
        shape = re.sub(r"SELECT .*? FROM", "SELECT ... FROM", re.sub(r"'[^']*'|\b\d+\b", "?", sql))
        found.setdefault(shape[:400], []).append(float(ms))
    say(f"statements over {SLOW} ms: {sum(map(len, found.values()))}")
    for sql, each in sorted(found.items(), key=lambda item: -sum(item[1]))[:8]:
        say(f"  {len(each)} times, {statistics.median(each):.0f} ms: {sql}")


def quantile(values: list[float], percent: int) -> float:
    return sorted(values)[min(len(values) - 1, len(values) * percent // 100)]


def main() -> None:
    wanted = asked()
    cluster, folder = Cluster(OURS), Path(tempfile.mkdtemp(prefix="fulling-day-"))
    try:
        cluster.start()
        hand = write_books(cluster, folder, wanted)
        say(f"load of the machine before: {os.getloadavg()[0]:.2f}; {os.cpu_count()} cores")
        began = len(cluster.log.read_text(errors="replace"))
        with ExitStack() as stack:
            labs = {book: stack.enter_context(Lab(book, cluster, folder).open()) for book in BOOKS}
            if wanted.rounds:
                pages(labs, hand, wanted.rounds)
            day(labs, hand, wanted)
        slow_statements(cluster.log.read_text(errors="replace")[began:])
        say(f"load of the machine at the end, ours: {os.getloadavg()[0]:.2f}")
    finally:
        cluster.stop()
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
