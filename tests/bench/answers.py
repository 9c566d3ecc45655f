"""One process over one book: does what the bench asks, a line of JSON in, a line out. Times are milliseconds."""

import json
import sys
import time
from collections.abc import Callable
from io import BytesIO
from typing import Any

import django


def timed(act: Callable[[], Any]) -> tuple[float, Any]:
    began = time.perf_counter()
    result = act()
    return 1000 * (time.perf_counter() - began), result


class Answers:
    def __init__(self) -> None:
        self.clients: dict[str, Any] = {}
        self.requests: dict[str, int] = {}

    # Pages.

    def write(self, waiting: int, past: int) -> dict[str, int]:
        """Fill the book; how many rows it holds."""
        from apps.intake.models import Job, Specimen
        from apps.laundering.models import CycleLog
        from apps.measuring.models import Reading
        from tests.bench.history import write

        self.book = write(waiting, past)
        counted = {"jobs": Job, "specimens": Specimen, "cycles": CycleLog, "readings": Reading}
        return {name: model.objects.count() for name, model in counted.items()}

    def write_queue(self, waiting: int, past: int) -> dict[str, int]:
        """So many specimens that wait for a wash, and so many cycles long done."""
        from apps.intake.models import Specimen
        from apps.laundering.models import CycleLog, Load
        from tests.bench.past import write_queue

        self.book = write_queue(waiting, past)
        waits = Specimen.objects.filter(stage="ready").count()
        return {"waiting": waits, "past cycles": CycleLog.objects.count(), "loads": Load.objects.count()}

    def page(self, path: str, who: str = "") -> float:
        """One answer of the site, all of its middleware included."""
        took, answer = timed(lambda: self._client(who).get(path, HTTP_HOST="localhost"))
        assert answer.status_code == 200, (path, answer.status_code)
        return took

    def look(self, path: str, who: str = "") -> dict[str, int]:
        """What a page comes to: its queries, its rows, its bytes."""
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        client = self._client(who)
        with CaptureQueriesContext(connection) as queries:
            text = client.get(path, HTTP_HOST="localhost").content.decode()
        main = text.partition("<main")[2]
        rows = main.count("<tr") - main.count("<thead") or main.count("<li>") or main.count("<article")
        return {"queries": len(queries), "rows": rows, "bytes": len(text)}

    def plans(self, path: str, who: str) -> list[str]:
        """The queries of a page that take longest, with their plans."""
        from django.db import connection
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as queries:
            self._client(who).get(path, HTTP_HOST="localhost")
        told = []
        for sql in [query["sql"] for query in queries if query["sql"].startswith("SELECT")]:
            with connection.cursor() as cursor:
                cursor.execute("EXPLAIN (ANALYZE, BUFFERS) " + sql.replace("%", "%%"))
                lines = [line for (line,) in cursor.fetchall()]
            took = float(lines[-1].split()[2])
            if took > 1:
                told.append("\n".join([f"{took:.1f} ms  {sql}", *("    " + line for line in lines)]))
        return told

    def _client(self, who: str):
        from django.test import Client

        from apps.accounts.models import User

        if who not in self.clients:
            self.clients[who] = Client()
            if who:
                self.clients[who].force_login(User.objects.get(username=who))
        return self.clients[who]

    # Results.

    def big_request(self, name: str, pieces: int, stages: int) -> int:
        """A request read after each of so many cycles; the number of its readings."""
        from apps.measuring.models import Reading
        from tests.bench.history import Lot, Stage

        measured = tuple(range(1, stages + 1))
        reads = {"read": (0, *measured), "cycles": stages, "asked": stages, "measured": measured, "logged": False}
        (request,) = self.book.write(Lot(1, Stage.DONE, pieces=pieces, **reads))
        self.requests[name] = request.pk
        return Reading.objects.filter(pair__specimen__request=request).count()

    def results(self, name: str) -> float:
        from apps.intake.models import Request
        from apps.measuring.queries import results_of

        return timed(lambda: results_of(Request.objects.filter(pk=self.requests[name])))[0]

    def rows_of_results(self, name: str) -> float:
        """The floor: the same rows fetched, and nothing made of them."""
        from apps.intake.models import Request, Specimen
        from apps.measuring.models import BenchmarkPair, Reading

        of = {"request": self.requests[name]}
        pairs, readings = ({f"{path}__{key}": value for key, value in of.items()} for path in PATHS)
        rows = [
            Request.objects.filter(pk=self.requests[name]),
            Specimen.objects.filter(**of),
            BenchmarkPair.objects.filter(**pairs),
            Reading.objects.filter(**readings),
        ]
        return timed(lambda: [list(found) for found in rows])[0]

    # Paper.

    def paper(self, samples: int) -> dict[str, int]:
        """Set a report of so many samples once: its pages and its words."""
        from pypdf import PdfReader

        from apps.reporting.facts import Facts
        from apps.reporting.pdf import build
        from tests.reporting.paper import facts

        self.facts = Facts(facts(samples=samples))
        self.sheets = [page.extract_text().split() for page in PdfReader(BytesIO(build(self.facts))).pages]
        return {"pages": len(self.sheets), "words": sum(map(len, self.sheets))}

    def pdf(self) -> float:
        from apps.reporting.pdf import build

        return timed(lambda: build(self.facts))[0]

    def bare_pdf(self) -> float:
        """The floor: the same words on as many pages, each where it comes to stand."""
        return timed(self._draw)[0]

    def _draw(self) -> bytes:
        from reportlab.pdfgen.canvas import Canvas

        from apps.core.ink import SANS

        file = BytesIO()
        canvas = Canvas(file, invariant=1)
        for words in self.sheets:
            canvas.setFont(SANS, 8.6)
            for n, word in enumerate(words):
                canvas.drawString(40 + n % 9 * 58, 800 - n // 9 * 10, word)
            canvas.showPage()
        canvas.save()
        return file.getvalue()


PATHS = ("specimen", "pair__specimen")


def main() -> None:
    from django.conf import settings

    settings.ROOT_URLCONF = "tests.bench.bare"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.WHITENOISE_AUTOREFRESH = True
    django.setup()
    answers = Answers()
    for line in sys.stdin:
        asked = json.loads(line)
        print(json.dumps(getattr(answers, asked.pop("do"))(**asked)), flush=True)


if __name__ == "__main__":
    main()
