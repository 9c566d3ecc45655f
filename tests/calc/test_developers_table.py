"""The table of numbers and their proofs in DEVELOPERS.md, held against the code and the tests there are."""

import importlib
import inspect
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEADING = "## Numbers and what proves them"
# Working parts of the calls, with nothing of their own to prove.
INNER = {"__init__", "bins", "errors", "exact", "field", "packing", "quantiles"}
# Tests of what all calls share.
SHARED = {"test_context.py", "test_developers_table.py"}


def rows():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.split(HEADING, 1)[1].split("\n## ", 1)[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def public_calls():
    """Every public function of the rooms of numbers, as the table names it."""
    for path in sorted((ROOT / "apps" / "calc").glob("*.py")):
        if path.stem not in INNER:
            module = importlib.import_module(f"apps.calc.{path.stem}")
            for name, call in inspect.getmembers(module, inspect.isfunction):
                if call.__module__ == module.__name__ and not name.startswith("_"):
                    yield f"{path.stem}.{name}"


def in_backticks(column):
    return [name for row in rows() for name in re.findall(r"`([^`]+)`", row[column])]


@pytest.mark.once
def test_every_row_is_whole():
    assert len(rows()) > 20
    for row in rows():
        assert len(row) == 5
        assert all(row), row
        assert re.search(r"\b[HML]\b", row[3]), f"{row[0]}: how sure is the source?"


@pytest.mark.once
def test_every_call_has_its_proof():
    assert sorted(in_backticks(1)) == sorted(public_calls())


@pytest.mark.once
def test_every_test_named_is_there_and_none_is_left_out():
    there = {
        f"tests/calc/{path.name}" for path in (ROOT / "tests" / "calc").glob("test_*.py") if path.name not in SHARED
    }
    assert set(in_backticks(4)) == there


@pytest.mark.once
@pytest.mark.parametrize("path", sorted((ROOT / "tests/calc/data").iterdir()), ids=lambda path: path.name)
def test_every_file_of_figures_names_its_source(path):
    assert re.search(r'"source": "[^"]{40,}"', path.read_text(encoding="utf-8"))
