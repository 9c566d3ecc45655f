"""How long pages, results and reports take against a floor of the same run, and whether pages grow with history.

tests/bench/run                                # a page's worth of work against 2,000 specimens at each step
tests/bench/run --waiting 20000 --past 100000  # bigger
tests/bench/run --plans                        # also the plans of what the database spends its time on
"""

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

import psycopg

from tests.cluster import Cluster
from tests.house_rules import ROOT

PAGES = [
    ("Laundry queue", "/laundry/", "lou"),
    ("Bench list", "/bench/", "bea"),
    ("Receiving, open", "/receiving/", "fran"),
    ("Receiving, all", "/receiving/?show=all", "fran"),
    ("Approvals", "/approvals/", "mara"),
    ("My jobs", "/my/", "casey"),
    ("Log book", "/laundry/logbook/", "lou"),
]
FULL = 150  # specimens at each step that fill one page of each list


def asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests/bench/run", description=__doc__.split("\n\n")[0])
    parser.add_argument("--small", type=int, default=FULL, help=f"specimens at each step, small book (default {FULL})")
    parser.add_argument("--waiting", type=int, default=2000, help="specimens at each step, large book (default 2000)")
    parser.add_argument("--past", type=int, default=5000, help="past cycles, large book (default 5000)")
    parser.add_argument("--rounds", type=int, default=25, help="interleaved measurements of each (default 25)")
    parser.add_argument("--setting", default="", help="of the database's connections, to try it out, such as jit=off")
    parser.add_argument("--plans", action="store_true", help="print the large book's slow queries with their plans")
    return parser.parse_args()


class Book:
    """One database and the process over it."""

    def __init__(self, url: str, data: Path) -> None:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("FULLING_")}
        settings = {"DATABASE_URL": url, "FULLING_DATA": str(data), "DJANGO_SETTINGS_MODULE": "labsite.settings"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.answers"],
            cwd=ROOT,
            env=kept | settings,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def ask(self, do: str, **what: Any) -> Any:
        print(json.dumps({"do": do, **what}), file=self.process.stdin, flush=True)
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit(f"The process that was asked to {do} {what} ended.")
        return json.loads(line)

    def close(self) -> None:
        self.process.stdin.close()
        self.process.wait()


def say(line: str = "") -> None:
    print(line, flush=True)


def medians(rounds: int, what: dict[str, Callable[[], float]]) -> dict[str, float]:
    """Each act in turn, over and over; the first turn only warms up."""
    took: dict[str, list[float]] = {name: [] for name in what}
    for turn in range(rounds + 1):
        for name, act in what.items():
            ms = act()
            if turn:
                took[name].append(ms)
    return {name: statistics.median(times) for name, times in took.items()}


def table(*lines: tuple[str, ...]) -> None:
    widths = [max(len(line[n]) for line in lines) for n in range(len(lines[0]))]
    for n, line in enumerate(lines):
        cells = [
            line[0].ljust(widths[0]),
            *(cell.rjust(width) for cell, width in zip(line[1:], widths[1:], strict=True)),
        ]
        say("| " + " | ".join(cells) + " |")
        if n == 0:
            say("|" + "|".join(["-" * (widths[0] + 2), *("-" * (width + 1) + ":" for width in widths[1:])]) + "|")
    say()


def times(a: float, b: float) -> str:
    return f"{a / b:.2f}"


def figure(value: float) -> str:
    return f"{value:.1f}"


def both(small: int, large: int) -> str:
    return f"{small}" if small == large else f"{small} to {large}"


def pages(books: dict[str, Book], rounds: int) -> None:
    rows = [("page", "queries", "rows", "small ms", "large ms", "growth", "bare ms", "large / bare")]
    for name, path, who in PAGES:
        seen = {size: book.ask("look", path=path, who=who) for size, book in books.items()}
        what: dict[str, Callable[[], float]] = {}
        for size, book in books.items():
            what[size] = partial(book.ask, "page", path=path, who=who)
            what[f"bare {size}"] = partial(book.ask, "page", path=f"/bare/{seen[size]['rows']}/")
        ms = medians(rounds, what)
        counts = [both(seen["small"][count], seen["large"][count]) for count in ("queries", "rows")]
        growth, floor = times(ms["large"], ms["small"]), times(ms["large"], ms["bare large"])
        rows.append((name, *counts, *map(figure, (ms["small"], ms["large"])), growth, figure(ms["bare large"]), floor))
        say(f"  {name}: growth {growth}")
    table(*rows)


def results(book: Book, rounds: int) -> None:
    rows = [("results of a request", "readings", "ms", "bare fetch ms", "ratio", "µs a reading")]
    for name, pieces, stages in (("3 specimens, 2 stages", 3, 2), ("12 specimens, 50 stages", 12, 50)):
        readings = book.ask("big_request", name=name, pieces=pieces, stages=stages)
        ms = medians(rounds, {do: partial(book.ask, do, name=name) for do in ("results", "rows_of_results")})
        made, bare = ms["results"], ms["rows_of_results"]
        rows.append(
            (name, str(readings), figure(made), figure(bare), times(made, bare), figure(1000 * made / readings))
        )
    table(*rows)


def paper(book: Book, rounds: int) -> None:
    rows = [("report as PDF", "pages", "words", "ms", "bare drawing ms", "ratio", "ms a page")]
    for name, samples in (("1 sample", 1), ("6 samples", 6)):
        size = book.ask("paper", samples=samples)
        ms = medians(max(1, rounds // 3), {do: partial(book.ask, do) for do in ("pdf", "bare_pdf")})
        made, bare = ms["pdf"], ms["bare_pdf"]
        counts = [str(size["pages"]), str(size["words"])]
        rows.append((name, *counts, figure(made), figure(bare), times(made, bare), figure(made / size["pages"])))
    table(*rows)


def main() -> None:
    wanted = asked()
    cluster, data = Cluster(), Path(tempfile.mkdtemp(prefix="fulling-bench-"))
    tried = f"&options={quote(f'-c {wanted.setting}')}" if wanted.setting else ""
    books: list[Book] = []
    try:
        cluster.start()
        make_databases(cluster, data)
        for name, waiting, past in (("small", wanted.small, 0), ("large", wanted.waiting, wanted.past)):
            books.append(Book(f"{cluster.url(name)}{tried}", data))
            held = books[-1].ask("write", waiting=waiting, past=past)
            say(f"{name} book: " + ", ".join(f"{number:,} {what}" for what, number in held.items()))
        small, large = books
        pages({"small": small, "large": large}, wanted.rounds)
        results(large, wanted.rounds)
        paper(small, wanted.rounds)
        if wanted.plans:
            for name, path, who in PAGES:
                for plan in large.ask("plans", path=path, who=who):
                    say(f"{name}: {plan}\n")
    finally:
        for book in books:
            book.close()
        cluster.stop()
        shutil.rmtree(data, ignore_errors=True)


def make_databases(cluster: Cluster, data: Path) -> None:
    with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
        connection.execute("CREATE DATABASE small")
        environment = os.environ | {"DATABASE_URL": cluster.url("small"), "FULLING_DATA": str(data)}
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, env=environment, check=True)
        connection.execute("CREATE DATABASE large TEMPLATE small")


if __name__ == "__main__":
    main()
