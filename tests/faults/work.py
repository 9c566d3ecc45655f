"""What people have in front of them when a round begins: a sheet without a reading, and a load that is dry."""

from dataclasses import dataclass, field
from datetime import datetime

from django.conf import settings
from django.db import connections
from django.test import Client
from django.urls import reverse

from apps.accounts.models import Customer, User
from apps.core import clock
from apps.equipment.models import Equipment
from apps.intake.models import Job, Request
from apps.measuring.models import BenchmarkPair
from tests.cast import Cast, a_marked_request, in_a_load, washed_and_dried, with_originals
from tests.faults.person import Person, together

SHEET, LOAD = 2, 8  # pieces: twelve cells to read and eight cycles to tick take people about as long


@dataclass
class Work:
    """The cells of one request and the ticks of another's load, each an act of its own."""

    sheet: Request
    load: int
    jobs: list[Job]
    cells: dict[int, str]  # pair -> what is read
    ticks: dict[int, int]  # specimen -> its cycle
    keys: dict[str, str] = field(default_factory=dict)  # of the acts that were acknowledged -> what they were

    @property
    def writes(self) -> int:
        return len(self.cells) + len(self.ticks)

    def do(self, bea: Person, lou: Person) -> None:
        """Both at once: a reading a form, a tick a form, each sent until it is acknowledged."""
        together(lambda: self._read(bea), lambda: self._tick(lou))

    def _read(self, bea: Person) -> None:
        code, ordinal = self.sheet.sample.code, self.sheet.ordinal
        page = f"{reverse('measuring:readings', args=[code])}?request={ordinal}&stage=0"
        action = reverse("measuring:enter", args=[code])
        for pair, text in self.cells.items():
            act = bea.send(page, action, **{f"pair_{pair}": text})
            self.keys[act.key] = f"reading of pair {pair}"

    def _tick(self, lou: Person) -> None:
        page = reverse("laundering:load", args=[self.load])
        for specimen in self.ticks:
            act = lou.send(page, reverse("laundering:tick", args=[specimen]))
            self.keys[act.key] = f"tick of specimen {specimen}"


def somebody(name: str) -> tuple[str, str]:
    """The cookie of a person who is signed in."""
    client = Client()
    client.force_login(User.objects.get(username=name))
    return settings.SESSION_COOKIE_NAME, client.cookies[settings.SESSION_COOKIE_NAME].value


def cast_that_is_there() -> Cast:
    """The people and machines of a lab that has them already; machines at work come last."""
    people = {name: User.objects.get(username=name) for name in ("fran", "bea", "lou", "mara", "casey", "dana")}
    houses = Customer.objects.order_by("pk")[:2]
    machines = {kind: list(Equipment.objects.filter(kind=kind).order_by("-name")) for kind in ("washer", "dryer")}
    return Cast(
        **people, quellbach=houses[0], zweitfaden=houses[1], washers=machines["washer"], dryers=machines["dryer"]
    )


def prepare(cast: Cast, at: datetime | None = None) -> Work:
    at = at or clock.now()
    order = {"at": at, "cycles": 2, "measured_after": (2,)}
    sheet = a_marked_request(cast, count=SHEET, fewer_reason="cloth is short", **order)
    washed = with_originals(cast, a_marked_request(cast, count=LOAD, **order), at=at)
    load = washed_and_dried(cast, in_a_load(cast, washed, at=at), at=at)
    pairs = BenchmarkPair.objects.filter(specimen__request=sheet).order_by("specimen__number", "direction", "number")
    cells = {pair.pk: str(249 + n % 5 / 2) for n, pair in enumerate(pairs)}
    ticks = dict(load.pieces.order_by("specimen_id").values_list("specimen_id", "ordinal"))
    jobs = list(Job.objects.filter(samples__requests__in=[sheet, washed]))
    return Work(Request.objects.select_related("sample__job").get(pk=sheet.pk), load.pk, jobs, cells, ticks)


def let_go() -> None:
    """No connection of this run stays open: a SQLite file that somebody else still holds is not really deserted."""
    connections.close_all()
