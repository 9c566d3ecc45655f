"""A sheet of a million readings, in time and memory, against a bare pandas read_csv and groupby of the same file.

.venv/bin/python -m tests.bench.sheets [--readings 1000000] [--rounds 5] [--write]

Each measurement is a process of its own, the ways by turns, so that all meet the same machine. `bare` reads and groups
and checks nothing; `sheet` reads, checks, groups and writes the results as CSV. Their seconds are taken inside, after
pandas is imported, which both need. `command` is `manage.py sheet IN --out OUT` from its start to its end, against the
whole bare process. Memory is the largest a process ever held. `--write` puts the table into RESULT_SHEETS.md.
"""

import argparse
import io
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
RESULT = Path(__file__).with_name("RESULT_SHEETS.md")
HEAD = "sample,specimen,direction,pair,stage,value,unit\n"
KINDS = {
    "one unit": "millimetres with one decimal",
    "three units": "millimetres, centimetres and fractions of an inch by turns",
    "very fine": "nearly every reading a different one: six decimals",
}


def lines(kind: str, readings: int) -> Iterator[str]:
    """Samples of three specimens with three pairs each way, read before washing and after cycles 1 and 3."""
    chance, made, sample = random.Random(5), 0, 0
    while made < readings:
        sample += 1
        unit = ("mm", "cm", "in")[sample % 3] if kind == "three units" else "mm"
        for stage, middle in ((0, 250), (1, 244), (3, 242)):
            for where in (f"{piece},{way},{pair}" for piece in "123" for way in ("length", "width") for pair in "123"):
                mm = chance.gauss(middle, 1)
                value = {"mm": f"{mm:.1f}", "cm": f"{mm / 10:.2f}", "in": f"{int(mm / 25.4)} {1 + made % 15}/16"}[unit]
                text = f"{mm:.6f}" if kind == "very fine" else value
                yield f"26-{sample:05d}K-A,{where},{stage},{text},{unit}\n"
                made += 1
                if made == readings:
                    return


def bare(path: str) -> None:
    import pandas as pd

    frame = pd.read_csv(path)
    grouped = frame.groupby(["sample", "direction", "stage"])["value"]
    grouped.mean() if frame["value"].dtype.kind == "f" else grouped.count()


def sheet(path: str, averaging: str = "ratio_of_means") -> None:
    from apps.sheets import services
    from apps.sheets.figures import Asked
    from apps.sheets.giving import write_csv

    with open(path, "rb") as file:
        results = services.calculate(file=file, workbook=False, asked=Asked.of(averaging, "even", "0.1"))
    write_csv(results, io.StringIO())


WAYS = {
    "bare": bare,
    "ratio_of_means": lambda path: sheet(path, "ratio_of_means"),
    "mean_of_changes": lambda path: sheet(path, "mean_of_changes"),
}


def once(way: str, path: str) -> None:
    """What one process does; printed is how long it took, by the clock and of the processor."""
    import pandas  # noqa: F401, what both need is not counted

    began, used = time.perf_counter(), time.process_time()
    WAYS[way](path)
    print(json.dumps([time.perf_counter() - began, time.process_time() - used]))


class Taken(NamedTuple):
    seconds: float
    processor: float
    megabytes: float


def process(*words: str) -> tuple[Taken, str]:
    """What a whole process took, and what it printed."""
    began = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, *words], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    printed = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{words} ended with {child.returncode}")
    return Taken(time.perf_counter() - began, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024), printed


def compared(kind: str, path: Path, rounds: int) -> list[str]:
    """A line of the table for each way: medians over rounds taken by turns, and their ratios to bare."""
    found: dict[str, list[Taken]] = {name: [] for name in (*WAYS, "whole bare", "command")}
    for _ in range(rounds):
        for way in WAYS:
            whole, printed = process("-m", "tests.bench.sheets", "--once", way, str(path))
            found[way].append(Taken(*json.loads(printed), whole.megabytes))
            if way == "bare":
                found["whole bare"].append(whole)
        found["command"].append(process("manage.py", "sheet", str(path), "--out", str(path.with_suffix(".out")))[0])
    middle = {name: Taken(*map(statistics.median, zip(*taken, strict=True))) for name, taken in found.items()}
    floors = {way: "bare" for way in WAYS} | {"command": "whole bare"}
    return [line(kind, way, middle[way], middle[floors[way]]) for way in list(floors)[1:]]


def line(kind: str, way: str, ours: Taken, floor: Taken) -> str:
    ratios = [own / bare for own, bare in zip(ours, floor, strict=True)]
    return (
        f"| {kind} | {way} | {floor.seconds:.2f} s | {ours.seconds:.2f} s | **{ratios[0]:.2f}** | {ratios[1]:.2f}"
        f" | {floor.megabytes:.0f} MB | {ours.megabytes:.0f} MB | **{ratios[2]:.2f}** |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.bench.sheets", description=__doc__.split("\n\n")[0])
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--write", action="store_true", help="put the table into RESULT_SHEETS.md")
    parser.add_argument("--once", nargs=2, metavar=("WAY", "FILE"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.once:
        return once(*asked.once)
    table = [
        "| readings | way | bare | ours | ratio | of processor time | bare | ours | ratio |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    print("\n".join(table), flush=True)
    with tempfile.TemporaryDirectory() as folder:
        for kind in KINDS:
            path = Path(folder) / "sheet.csv"
            with path.open("w") as file:
                file.write(HEAD)
                file.writelines(lines(kind, asked.readings))
            rows = compared(kind, path, asked.rounds)
            print("\n".join(rows), flush=True)
            table += rows
    if asked.write:
        write(table, asked)


def write(table: list[str], asked: argparse.Namespace) -> None:
    kinds = "\n".join(f"- *{kind}*: {told}" for kind, told in KINDS.items())
    RESULT.write_text(
        f"# A sheet of {asked.readings:,} readings\n\n"
        f"Against a bare pandas `read_csv` and `groupby` of the same file: medians of {asked.rounds} rounds, the ways\n"
        "by turns, each in a process of its own. Aim: twice the time and twice the memory at most. Made by\n"
        "`python -m tests.bench.sheets --write`; the module says what each way does. The processor time is the\n"
        "steadier figure where the machine is shared.\n\n" + "\n".join(table) + f"\n\n{kinds}\n"
    )


if __name__ == "__main__":
    main()
