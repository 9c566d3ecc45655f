"""The benchmark runs, so that it cannot rot. How long anything takes is no test's business."""

import subprocess
import sys

import pytest

from tests.bench.__main__ import PAGES
from tests.house_rules import ROOT


@pytest.mark.postgres_only
def test_the_bench_runs_and_prints_its_ratios():
    command = [sys.executable, "-m", "tests.bench", "--small=3", "--waiting=6", "--past=9", "--rounds=1", "--plans"]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
    for name in [page for page, _, _ in PAGES] + ["12 specimens, 50 stages", "6 samples"]:
        (line,) = [line for line in result.stdout.splitlines() if line.startswith(f"| {name} ")]
        figures = [float(cell) for cell in line.strip(" |").split("|")[1:] if "to" not in cell]
        assert min(figures) > 0, line


@pytest.mark.postgres_only
def test_issuing_runs_and_prints_its_ratios():
    command = [sys.executable, "-m", "tests.bench.issuing", "--reports=25"]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
    for name in ("bare reportlab", "the worker", "approval"):
        (line,) = [line for line in result.stdout.splitlines() if line.startswith(f"| {name}")]
        assert float(line.strip(" |").split("|")[-1]) > 0, line


@pytest.mark.postgres_only
def test_the_queue_asks_as_often_with_many_as_with_few():
    command = [sys.executable, "-m", "tests.bench.queue", "--few=12", "--waiting=120", "--past=180", "--rounds=1"]
    result = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
    (line,) = [line for line in result.stdout.splitlines() if line.startswith("| Laundry queue ")]
    queries = line.strip(" |").split("|")[1].strip()
    assert queries.isdigit(), line  # "11", never "11 to 12"


@pytest.mark.postgres_only
def test_a_small_lab_s_day_has_no_errors():
    command = [sys.executable, "-m", "tests.bench.day", "--samples=10", "--waiting=9", "--rounds=0", "--minutes=0.1"]
    result = subprocess.run([*command, "--pause=0.5"], cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout + result.stderr
    assert "year: 10 samples, 30 specimens, 720 readings, 90 cycles" in result.stdout
    for book in ("empty", "year"):
        (line,) = [line for line in result.stdout.splitlines() if line.startswith(f"| {book} ")]
        _, requests, _, written, errors, *_ = (cell.strip() for cell in line.strip(" |").split("|"))
        assert int(requests) > 10 and int(written) > 0, line
        assert errors == "0", result.stdout
