"""A measure sheet in, results out, on the command line. Needs no database and no settings."""

import io
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from django.core.management.base import BaseCommand, CommandError, CommandParser

from apps.core.errors import Refusal
from apps.sheets import services
from apps.sheets.wrong import WrongRows

MOST_SHOWN = 20
OTHER_KINDS = (".xls", ".xlsm", ".xlsb", ".ods", ".pdf", ".doc", ".docx", ".zip", ".gz", ".json")


class Command(BaseCommand):
    help = (
        "Calculate a measure sheet. Columns in: sample,specimen,direction,pair,stage,value,unit (stage 0 before"
        " washing, n after cycle n; unit mm, cm, in or pct). Columns out: sample,direction,stage,specimens,pairs,"
        "change,sd,reported. Files that end in .xlsx are workbooks, all others CSV text."
    )
    requires_system_checks = []
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("sheet", metavar="IN", help="the measure sheet, .csv or .xlsx")
        parser.add_argument("--out", metavar="OUT", help="where the results go (default: printed as CSV)")
        parser.add_argument("--averaging", choices=["ratio_of_means", "mean_of_changes"], default="ratio_of_means")
        parser.add_argument("--tie", choices=["even", "away"], default="even", help="a figure exactly between two")
        parser.add_argument("--step", default="0.1", help="what is reported is a multiple of this percentage")

    def handle(self, *args, sheet: str, out: str | None, averaging: str, tie: str, step: str, **options) -> None:
        for name in filter(None, (sheet, out)):
            if name.lower().endswith(OTHER_KINDS):
                raise CommandError(f"{name}: a sheet is a file that ends in .csv or .xlsx.")
        if out and Path(out).exists() and Path(sheet).exists() and Path(out).samefile(sheet):
            raise CommandError("OUT is the measure sheet itself. Choose another name.")
        from apps.sheets import giving
        from apps.sheets.figures import Asked

        try:
            asked = Asked.of(averaging, tie, step)
            with opened(sheet) as file:
                results = services.calculate(file=file, workbook=is_workbook(sheet), asked=asked)
        except WrongRows as refusal:
            raise CommandError(told(sheet, refusal)) from refusal
        except Refusal as refusal:
            raise CommandError(f"{sheet}: {refusal}") from refusal
        for note in some(results.notes, "more notes"):
            self.stderr.write(note)
        if out is None:
            giving.write_csv(results, self.stdout)
            return
        with replaced(out) as file:
            if is_workbook(out):
                giving.write_workbook(results, file)
            else:
                with io.TextIOWrapper(file, encoding="utf-8", newline="") as text:
                    giving.write_csv(results, text)


def is_workbook(name: str) -> bool:
    return name.lower().endswith(".xlsx")


def told(sheet: str, refusal: WrongRows) -> str:
    lines = [str(wrong) for wrong in refusal.rows[:MOST_SHOWN]]
    if refusal.total > len(lines):
        lines.append(f"… and {refusal.total - len(lines)} more.")
    return "\n".join([f"{sheet}: {refusal}", *lines])


def some(notes: list[str], words: str) -> list[str]:
    more = len(notes) - MOST_SHOWN
    return notes if more <= 0 else [*notes[:MOST_SHOWN], f"… and {more} {words}."]


@contextmanager
def opened(name: str) -> Iterator[BinaryIO]:
    """The file to read, from its start as often as needed; a pipe is taken in first."""
    try:
        with open(name, "rb") as file:
            yield file if file.seekable() else io.BytesIO(file.read())
    except OSError as fault:
        raise CommandError(f"{name} cannot be read: {fault.strerror}.") from fault


@contextmanager
def replaced(name: str) -> Iterator[BinaryIO]:
    """A file that is there, whole, only once all of it is written."""
    path = Path(name)
    try:
        with tempfile.NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
            try:
                yield file
                file.close()
                os.chmod(file.name, 0o666 & ~umask())
                os.replace(file.name, path)
            except BaseException:
                file.close()
                with suppress(OSError):
                    os.unlink(file.name)
                raise
    except OSError as fault:
        raise CommandError(f"{name} cannot be written: {fault.strerror}.") from fault


def umask() -> int:
    """The mask that files are made with here; it can only be asked by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
