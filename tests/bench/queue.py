"""How much the laundry's queue grows with the lab's book: few against many, on PostgreSQL.

.venv/bin/python -m tests.bench.queue                     # 20 waiting against 5,000 with 500,000 past cycles
.venv/bin/python -m tests.bench.queue --waiting 500 --past 9000

The floor is a page of the same house and the same run that asks the book for nothing but the person.
"""

import argparse
import shutil
import tempfile
from functools import partial
from pathlib import Path

from tests.bench.__main__ import Book, both, figure, make_databases, medians, say, table, times
from tests.cluster import Cluster

QUEUE, FLOOR = "/laundry/", "/password/"


def asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="tests.bench.queue", description=__doc__.split("\n\n")[0])
    parser.add_argument("--few", type=int, default=20, help="specimens waiting, small book (default 20)")
    parser.add_argument("--waiting", type=int, default=5000, help="specimens waiting, large book (default 5000)")
    parser.add_argument("--past", type=int, default=500_000, help="past cycles, large book (default 500000)")
    parser.add_argument("--rounds", type=int, default=40, help="interleaved measurements of each (default 40)")
    return parser.parse_args()


def main() -> None:
    wanted = asked()
    cluster, data = Cluster(), Path(tempfile.mkdtemp(prefix="fulling-bench-"))
    books: dict[str, Book] = {}
    try:
        cluster.start()
        make_databases(cluster, data)
        for name, waiting, past in (("small", wanted.few, 20), ("large", wanted.waiting, wanted.past)):
            books[name] = Book(cluster.url(name), data)
            held = books[name].ask("write_queue", waiting=waiting, past=past)
            say(f"{name} book: " + ", ".join(f"{number:,} {what}" for what, number in held.items()))
        what = {
            f"{page} {size}": partial(book.ask, "page", path=path, who="lou")
            for size, book in books.items()
            for page, path in (("queue", QUEUE), ("floor", FLOOR))
        }
        seen = {size: book.ask("look", path=QUEUE, who="lou") for size, book in books.items()}
        ms = medians(wanted.rounds, what)
        growth = ms["queue large"] / ms["queue small"]
        counts = [both(seen["small"][count], seen["large"][count]) for count in ("queries", "rows")]
        table(
            ("page", "queries", "rows", "small ms", "large ms", "growth", "floor ms", "small / floor", "large / floor"),
            (
                "Laundry queue",
                *counts,
                *map(figure, (ms["queue small"], ms["queue large"])),
                f"{growth:.2f}",
                figure(ms["floor large"]),
                *(times(ms[f"queue {size}"], ms[f"floor {size}"]) for size in books),
            ),
        )
    finally:
        for book in books.values():
            book.close()
        cluster.stop()
        shutil.rmtree(data, ignore_errors=True)


if __name__ == "__main__":
    main()
