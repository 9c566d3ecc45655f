"""Issuing many reports, from approval to the sealed file in the book, against the bare work on the same pages.

python -m tests.bench.issuing                    # 100 reports
python -m tests.bench.issuing --reports 1000 --write
The floor: the same pages set by bare reportlab, and the file signed by bare pyhanko with the same key. Both by turns,
in one process, on PostgreSQL. What a kill leaves behind is tests/faults' business.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from io import BytesIO
from pathlib import Path
from typing import Any

from tests.cluster import Cluster
from tests.house_rules import ROOT

RESULT = Path(__file__).parent / "RESULT_ISSUING.md"
TURN = 25  # reports by turns
AIM = 1.3


def rss() -> float:
    """Memory of this process, in MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def bare(report: Any, seal: Any) -> bytes:
    """The floor: pages and signature, and nothing else."""
    from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
    from pyhanko.sign import signers
    from pyhanko.sign.fields import SigSeedSubFilter

    from apps.reporting.facts import Facts
    from apps.reporting.pdf import pages
    from apps.reporting.seal.signing import _signer

    about = signers.PdfSignatureMetadata(field_name="S", md_algorithm="sha256", subfilter=SigSeedSubFilter.PADES)
    out, content = BytesIO(), pages(Facts.read(report.facts))
    signers.PdfSigner(about, signer=_signer(seal)).sign_pdf(IncrementalPdfFileWriter(BytesIO(content)), output=out)
    return out.getvalue()


def approve(requests: list[Any], by: Any) -> list[Any]:
    from apps.core import clock
    from apps.reporting.services import approve

    return [approve(request_ids=[request.pk], password_ok=True, by=by, at=clock.now()) for request in requests]


def make_files(reports: list[Any]) -> None:
    from apps.core import clock
    from apps.reporting.services import build_pending

    assert build_pending(limit=len(reports), now=clock.now()) == len(reports)


def measure(count: int) -> dict[str, Any]:
    from django.core.management import call_command

    from apps.reporting.models import ReportFile
    from apps.reporting.seal.keys import the_seal
    from tests.bench.history import Book, Lot, Stage

    call_command("seal", name="Bench, invented", verbosity=0)
    book, seal = Book(), the_seal()
    requests = book.write(Lot(count + TURN, Stage.DONE, read=(0, 1, 3), cycles=3))
    warm = approve(requests[:TURN], book.cast.mara)
    make_files(warm)
    bare(warm[0], seal)
    took = {"approvals": 0.0, "files": 0.0, "floor": 0.0}
    memory = [rss()]
    for start in range(TURN, count + TURN, TURN):
        times = [time.perf_counter()]
        reports = approve(requests[start : start + TURN], book.cast.mara)
        times.append(time.perf_counter())
        make_files(reports)
        times.append(time.perf_counter())
        for report in reports:
            bare(report, seal)
        times.append(time.perf_counter())
        for name, begin, end in zip(took, times, times[1:], strict=False):
            took[name] += end - begin
        memory.append(rss())
    files = ReportFile.objects.count()
    assert files == len({file.report_id for file in ReportFile.objects.all()}) == count + TURN, files
    return {"reports": count, "memory": memory, **took}


def told(found: dict[str, Any]) -> str:
    memory, count, floor = found["memory"], found["reports"], found["floor"]
    lines = ["| what | all | ms a report | against the floor |", "|---|---|---|---|"]
    for name, words in (
        ("floor", "bare reportlab and bare signing: the floor"),
        ("files", f"the worker: sealed files in the book (aim {AIM})"),
        ("approvals", "approval: facts frozen, requests locked"),
    ):
        spent = found[name]
        lines.append(f"| {words} | {spent:.1f} s | {1000 * spent / count:.0f} | {spent / floor:.2f} |")
    kept = f"Memory after a quarter {memory[len(memory) // 4]:.0f} MB, at the end {memory[-1]:.0f} MB."
    return "\n".join([f"{count:,} reports:", "", *lines, "", kept, ""])


HEAD = """# Issuing reports

The worker's part (pages set, PDF/A-3b with its attachments, held against a validator, sealed, kept, told in the trail
and to the customer) against bare reportlab setting the same pages and bare pyhanko signing them with the same key (EC
P-256); the approval before it is told beside. By turns of 25, in one process, on PostgreSQL.
Made by `python -m tests.bench.issuing --reports 1000 --write`. What is killed
midway is taken up again: `tests/faults/run`, 50 kills of the report worker, none doubled and none lost.

"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("--reports", type=int, default=100)
    parser.add_argument("--write", action="store_true", help=f"into {RESULT.name}")
    wanted = parser.parse_args()
    cluster, data = Cluster(), Path(tempfile.mkdtemp(prefix="fulling-issuing-"))
    try:
        cluster.start()
        import psycopg

        with psycopg.connect(cluster.url("postgres"), autocommit=True) as connection:
            connection.execute("CREATE DATABASE issuing")
        os.environ |= {"DATABASE_URL": cluster.url("issuing"), "FULLING_DATA": str(data)}
        os.environ["DJANGO_SETTINGS_MODULE"] = "labsite.settings"
        subprocess.run([sys.executable, "manage.py", "migrate", "-v0"], cwd=ROOT, check=True)
        import django

        django.setup()
        text = told(measure(wanted.reports))
        print(text)
        if wanted.write:
            RESULT.write_text(HEAD + text)
        from django.db import connection as ours

        ours.close()
    finally:
        cluster.stop()
        shutil.rmtree(data, ignore_errors=True)


if __name__ == "__main__":
    main()
