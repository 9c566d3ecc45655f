"""`manage.py sheet`: as a person runs it, and without a database. A test that is not marked for the database may not
touch it, so the runs inside this process prove that the command does not."""

import io
import os
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from openpyxl import load_workbook

from tests.sheets.support import HEAD, as_csv, of_text
from tests.sheets.test_workbook import as_workbook

pytestmark = pytest.mark.once

ROOT = Path(__file__).resolve().parents[2]
PLAIN = of_text("X 1 length 1 0 35 cm\nX 1 length 1 1 32 cm")
OUT_HEAD = "sample,direction,stage,specimens,pairs,change,sd,reported"
SAID = f"{OUT_HEAD}\nX,length,1,1,1,-8.5714,,-8.6\n"  # textilepad.com 2022


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    return written(tmp_path / "in.csv", as_csv(PLAIN))


def written(path: Path, data: bytes) -> Path:
    path.write_bytes(data)
    return path


def manage(*words: str | Path, data: Path, **environment: str) -> subprocess.CompletedProcess:
    kept = {
        name: value for name, value in os.environ.items() if not name.startswith(("FULLING_", "DATABASE_", "DJANGO_"))
    }
    return subprocess.run(
        [sys.executable, ROOT / "manage.py", "sheet", *words],
        env=kept | {"FULLING_DATA": str(data)} | environment,
        cwd=data,
        capture_output=True,
        text=True,
        timeout=60,
    )


def run(*words: str | Path, **options) -> tuple[str, str]:
    """What the command says on its output and beside it."""
    out, err = io.StringIO(), io.StringIO()
    call_command("sheet", *map(str, words), stdout=out, stderr=err, **options)
    return out.getvalue(), err.getvalue()


# As a person runs it


def test_works_without_a_database(sheet, tmp_path):
    """The database named is not there, and none is made."""
    done = manage(sheet, data=tmp_path, DATABASE_URL="postgres://nobody@127.0.0.1:9/nothing")
    assert (done.returncode, done.stdout, done.stderr) == (0, SAID, "")
    assert list(tmp_path.rglob("*")) == [sheet]


def test_works_without_any_setting(sheet, tmp_path):
    done = manage(sheet, "--out", "out.csv", data=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert (tmp_path / "out.csv").read_text() == SAID
    assert {path.name for path in tmp_path.rglob("*")} == {"in.csv", "out.csv"}


def test_a_wrong_row_ends_with_one_and_leaves_nothing(tmp_path):
    wrong = written(tmp_path / "in.csv", as_csv([*PLAIN, ["X", "1", "length", "1", "2", "-1", "cm"]]))
    before = set(tmp_path.iterdir())
    done = manage(wrong, "--out", "out.csv", data=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.splitlines() == [
        f"CommandError: {wrong}: 1 thing is wrong in this sheet; nothing was calculated.",
        "line 4, value: A length has no sign. Enter the digits only.",
    ]
    assert set(tmp_path.iterdir()) == before


@pytest.mark.parametrize("words", [["--averaging", "median"], ["--tie", "up"], []])
def test_a_wrong_word_ends_with_two(words, sheet, tmp_path):
    done = manage(*([sheet, *words] if words else []), data=tmp_path)
    assert done.returncode == 2 and "usage:" in done.stderr and done.stdout == ""


# What it does


def test_prints_results_and_notes_apart(tmp_path):
    lines = [*PLAIN, ["X", "1", "length", "2", "1", "32", "cm"]]
    out, err = run(written(tmp_path / "in.csv", as_csv(lines)))
    assert out == SAID
    assert err == "X length, cycle 1: left out 1 pair 2 (no original).\n"


def test_takes_averaging_tie_and_step(tmp_path):
    lines = of_text("X 1 length 1 0 8 in\nX 1 length 1 1 8.5 in\nX 2 length 1 0 80 in\nX 2 length 1 1 80 in")
    path = written(tmp_path / "in.csv", as_csv(lines))
    figures = lambda *words: run(path, *words)[0].splitlines()[1].split(",")[5:]  # noqa: E731
    assert figures() == ["0.5682", "4.4194", "0.6"]
    assert figures("--averaging", "mean_of_changes") == ["3.1250", "4.4194", "3.1"]
    assert figures("--averaging", "mean_of_changes", "--step", "0.25", "--tie", "away") == ["3.1250", "4.4194", "3.25"]
    assert figures("--averaging", "mean_of_changes", "--step", "0.25", "--tie", "even") == ["3.1250", "4.4194", "3.00"]


def test_workbooks_in_and_out(tmp_path):
    path = written(tmp_path / "in.XLSX", as_workbook(PLAIN))
    assert run(path)[0] == SAID
    assert run(path, "--out", tmp_path / "out.xlsx") == ("", "")
    assert [cell.value for cell in load_workbook(tmp_path / "out.xlsx")["Results"][2]][:3] == ["X", "length", 1]


def test_reads_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=[as_csv(PLAIN)])
    writer.start()
    assert run(pipe)[0] == SAID
    writer.join()


def test_an_older_result_is_replaced_whole(sheet, tmp_path):
    out = written(tmp_path / "out.csv", b"older")
    run(sheet, "--out", out)
    assert out.read_text() == SAID
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(out.stat().st_mode) == 0o666 & ~mask
    assert {path.name for path in tmp_path.iterdir()} == {"in.csv", "out.csv"}


def test_a_failure_in_the_middle_leaves_no_file(sheet, tmp_path, monkeypatch):
    from apps.sheets import giving

    def breaks(results, out):
        out.write("half")
        raise RuntimeError

    monkeypatch.setattr(giving, "write_csv", breaks)
    out = written(tmp_path / "out.csv", b"older")
    with pytest.raises(RuntimeError):
        run(sheet, "--out", out)
    assert out.read_text() == "older"
    assert {path.name for path in tmp_path.iterdir()} == {"in.csv", "out.csv"}


def refused(*words: str | Path) -> str:
    with pytest.raises(CommandError) as caught:
        run(*words)
    assert caught.value.returncode == 1
    return str(caught.value)


def test_refuses_what_it_cannot_do(sheet, tmp_path):
    folder = tmp_path / "folder"
    folder.mkdir()
    assert refused(tmp_path / "none.csv") == f"{tmp_path}/none.csv cannot be read: No such file or directory."
    assert refused(folder) == f"{folder} cannot be read: Is a directory."
    assert refused(sheet, "--out", folder / "no" / "out.csv").endswith("cannot be written: No such file or directory.")
    assert refused(sheet, "--out", folder).endswith("cannot be written: Is a directory.")
    assert refused(sheet, "--out", sheet) == "OUT is the measure sheet itself. Choose another name."
    assert refused("sheet.xls") == "sheet.xls: a sheet is a file that ends in .csv or .xlsx."
    assert refused(sheet, "--out", "x.pdf") == "x.pdf: a sheet is a file that ends in .csv or .xlsx."
    assert "above 0 and at most 100" in refused(sheet, "--step", "0")
    assert refused(written(tmp_path / "e.csv", b"")) == f"{tmp_path}/e.csv: The file is empty."
    assert "no XLSX workbook" in refused(written(tmp_path / "no.xlsx", as_csv(PLAIN)))
    assert "is a workbook" in refused(written(tmp_path / "no.csv", as_workbook(PLAIN)))
    assert not list(folder.iterdir())


def test_twenty_are_printed_and_the_others_counted(tmp_path):
    lines = [["X", str(number), "length", "1", "0", "nothing", "mm"] for number in range(1200)]
    said = refused(written(tmp_path / "in.csv", as_csv(lines))).splitlines()
    assert len(said) == 22
    assert said[1].startswith("line 2, value") and said[20].startswith("line 21, value")
    assert said[0].endswith("1200 things are wrong in this sheet; nothing was calculated.")
    assert said[21] == "… and 1180 more."


def test_twenty_notes_are_printed(tmp_path):
    lines = [[f"S{number}", "1", "length", "1", "1", "250", "mm"] for number in range(50)]
    err = run(written(tmp_path / "in.csv", as_csv([*PLAIN, *lines])))[1].splitlines()
    assert len(err) == 21 and err[-1] == "… and 30 more notes."


def test_the_head_alone_has_no_reading(tmp_path):
    assert "no reading" in refused(written(tmp_path / "in.csv", HEAD.encode()))
