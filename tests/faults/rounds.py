"""One round: work is laid out, people write, something falls, they send again; then everything is looked at."""

import random
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from django.db import connection

from apps.core import clock
from apps.reporting import services as reporting
from apps.reporting.models import FileDue, Report, ReportFile
from apps.reporting.services.files import LEASE
from apps.trail.models import TrailEntry
from tests.cast import Cast
from tests.faults import checks, kills, work
from tests.faults.house import Desk, Server, until
from tests.faults.person import Act, Person
from tests.reporting.support import a_finished_job, requests_of


@dataclass
class Tally:
    """What all rounds of one kind came to."""

    name: str
    rounds: int = 0
    done: int = 0  # writes acknowledged, or files made
    hits: int = 0  # rounds whose kill fell into a write
    broken: int = 0  # writes whose answer was lost
    kept: int = 0  # of those: what had been written before the fall, and was only answered again
    slowest: float = 0.0
    wrong: list[str] = field(default_factory=list)
    usual: list[float] = field(default_factory=list)  # how long a write takes
    works: list[work.Work] = field(default_factory=list)
    reports: list[Report] = field(default_factory=list)

    def told(self) -> str:
        return (
            f"{self.name}: {self.rounds} rounds, {self.done} acknowledged; {self.hits} kills hit work in flight"
            f" ({self.broken} broken off, {self.kept} of them already kept); slowest comeback {self.slowest:.1f} s;"
            f" losses and doubles {len(self.wrong)}"
        )


def writing(house: Server | Desk, cast: Cast, how: kills.Kill, chance: random.Random, tally: Tally) -> str:
    """People write at the pages while the web, the database or the desk's process falls. Gives the round's line."""
    laid_out = work.prepare(cast)
    cookies = [work.somebody("bea"), work.somebody("lou")]
    work.let_go()
    moment = kills.Moment(house, how, writes=laid_out.writes, usual=tally.usual[-200:], chance=chance)
    bea, lou = (Person(house.port, house.host, cookie, moment.one_more) for cookie in cookies)
    laid_out.do(bea, lou)
    moment.wait()
    house.wait_until_well()
    acts = [*bea.acts, *lou.acts]
    broken = [act for act in acts if act.broken]
    kept = sum(was_kept(act) for act in broken)
    answered = [act.acknowledged for act in broken] or [t for act in acts if (t := act.acknowledged) > moment.at][:1]
    back = max(answered, default=moment.at) - moment.at
    wrong = checks.of_work(laid_out)
    tally.usual += [act.acknowledged - act.sent[-1] for act in acts if not act.broken]
    tally.rounds, tally.done = tally.rounds + 1, tally.done + len(laid_out.keys)
    tally.hits, tally.broken, tally.kept = tally.hits + bool(broken), tally.broken + len(broken), tally.kept + kept
    tally.slowest = max(tally.slowest, back)
    tally.wrong += wrong
    tally.works.append(laid_out)
    return f"{moment} {len(broken)} in flight, {kept} kept, back in {back:4.1f} s  {verdict(wrong)}"


def was_kept(act: Act) -> bool:
    """Whether a sending before the last one had been written."""
    entry = TrailEntry.objects.get(key=act.key)
    return entry.recorded_at < datetime.fromtimestamp(act.sent[-1], UTC)


def verdict(wrong: Iterable[str]) -> str:
    return "; ".join(wrong) or "nothing lost, nothing doubled"


def filing(house: Server, cast: Cast, chance: random.Random, tally: Tally) -> str:
    """A report is approved, and the worker falls at some moment between that and its file."""
    job = a_finished_job(cast, at=clock.now())
    house_is_ready(house)
    wanted = [request.pk for request in requests_of(job)]
    report = reporting.approve(request_ids=wanted, password_ok=True, by=cast.mara, at=clock.now())
    due = FileDue.objects.get(report=report)
    if chance.random() < 0.8:  # else the worker may fall before it takes the report up
        until(lambda: due.refresh_from_db() or due.tries)
    delay = chance.uniform(0, 0.15)
    time.sleep(delay)
    house.worker.fall()
    due.refresh_from_db()
    there = ReportFile.objects.filter(report=report).exists()
    in_hand = bool(due.tries) and not there
    tally.rounds, tally.hits = tally.rounds + 1, tally.hits + in_hand
    tally.reports.append(report)
    standing = "file there" if there else "in the making" if in_hand else "not begun"
    return f"fell {1000 * delay:3.0f} ms after the approval or the taking up: {standing}"


def house_is_ready(house: Server) -> None:
    """The worker asks the database again: a fall before that would prove nothing."""
    own = connection.connection.info.backend_pid if connection.connection else 0
    until(lambda: set(house.backends()) - {own}, pause=0.05)


def all_filed(tally: Tally, *, wait: bool) -> str:
    """In the end each report has its file. What the worker held when it fell is due again once its lease is over;
    `wait`: for that very time, else the lease is put back."""
    began = time.monotonic()
    if not wait:
        FileDue.objects.filter(done_at=None).update(next_try_at=clock.now())
    waiting = FileDue.objects.filter(done_at=None)
    until(lambda: not waiting.exists(), seconds=LEASE.total_seconds() + 60, pause=0.2)
    tally.slowest = time.monotonic() - began
    tally.wrong += checks.of_reports(tally.reports)
    tally.done = ReportFile.objects.filter(report__in=tally.reports).count()
    return f"{tally.done} files of {len(tally.reports)} reports after {tally.slowest:.1f} s  {verdict(tally.wrong)}"


def looked_at_again(tally: Tally) -> list[str]:
    """What a later fall took from an earlier round."""
    found = [fault for laid_out in tally.works for fault in checks.of_work(laid_out)]
    return [f"later: {fault}" for fault in found if fault not in tally.wrong]
