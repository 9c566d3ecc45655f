"""The invented scenario of the demo: a lab of ours, two invented customers, jobs at every stage.

Nobody and nothing in it is real; the figures are made up to look like cloth. Everything is written through the same
services as the pages use, at moments that lie some hours in the past.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from decimal import Decimal
from math import sin

from django.db import transaction
from django.utils import timezone

from apps.accounts.models import Customer, Lab, User
from apps.core import clock
from apps.core.pictures import picture
from apps.equipment import services as equipment
from apps.equipment.models import Equipment
from apps.front.cloths import CLOTHS, FLANNEL, JERSEY, LINEN, POINTS, POPLIN, RIB, SHIRT, TWILL, UNEVEN, Cloth
from apps.front.invented_checks import check_the_washer
from apps.front.invented_cloth import drawn_cloth
from apps.front.invented_readings import read_again
from apps.intake.models import Job, Request, Specimen
from apps.intake.services import (
    JobDetails,
    RequestDetails,
    ReviewDetails,
    SampleDetails,
    choose_photos,
    keep_photo,
    receive_job,
)
from apps.laundering import services as laundry
from apps.laundering.models import Load, LoadPiece
from apps.measuring import services as bench
from apps.measuring.models import BenchmarkPair
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from apps.methods.queries import points_for
from apps.reporting.services import approve, grant_signatory

PASSWORD = "demo"

# What it is, where it stands, how many days ago it was calibrated.
MACHINES = {
    "Washer 1": ("washer", "Laundry", 90),
    "Washer 2": ("washer", "Laundry", 90),
    "Dryer 1": ("dryer", "Laundry", 90),
    "Dryer 2": ("dryer", "Laundry", 90),
    "Rule 1": ("rule", "Bench", 200),
    "Tape 1": ("rule", "Bench", 380),
    "Percent scale 1": ("scale", "Bench", 200),
    "Balance 1": ("balance", "Laundry", 120),
    "Dip thermometer 1": ("thermometer", "Laundry", 352),
    "Logger 1": ("logger", "Conditioning room", 150),
    "Conditioning room": ("room", "Ground floor", None),
}

PEOPLE = {
    "fran": ("Fran Ahorn", {"front_desk": True}),
    "bea": ("Bea Linde", {"bench": True}),
    "lou": ("Lou Erle", {"laundry": True}),
    "mara": ("Mara Buche", {"manager": True}),
}
CUSTOMERS = {
    "Quellbach Hemden": ("Weberzeile 3\n1234 Quellbach", "casey", "Casey Quell"),
    "Zweitfaden Mode": ("Garnhof 12\n5678 Zwirnau", "dana", "Dana Faden"),
}


class Scenario:
    """Writes the demo's history. `now` is the moment the demo is started."""

    def __init__(self, now: datetime) -> None:
        self.now = now
        self.people: dict[str, User] = {}
        self.machines: dict[str, Equipment] = {}

    @contextmanager
    def ago(self, hours: float) -> Iterator[datetime]:
        """Let the house believe it is so many hours before now."""
        moment = self.now - timedelta(hours=hours)
        with clock.set_to(moment):
            yield moment

    def day(self, days: int, hour: int) -> float:
        """How many hours ago it was, so many days ago at this hour in the lab: work is done by day."""
        midnight = timezone.localtime(self.now).replace(hour=0, minute=0, second=0, microsecond=0)
        return (self.now - (midnight - timedelta(days=days) + timedelta(hours=hour))).total_seconds() / 3600

    @transaction.atomic
    def write(self) -> None:
        """All of it or nothing, so that a start that was broken off begins anew."""
        self.the_lab()
        with self.ago(24 * 30) as at:
            read_again(manager=self.people["mara"], bench=self.people["bea"], at=at)
        day = self.day
        reported = self.receive("Quellbach Hemden", [POPLIN], ago=day(12, 9), due=-1, order="QH-1107")
        waiting = self.receive("Zweitfaden Mode", [JERSEY, RIB], ago=day(10, 10), due=2, order="ZM 88/2")
        shirts = self.receive("Zweitfaden Mode", [SHIRT], ago=day(7, 9), due=5, order="ZM 89/1")
        measuring = self.receive("Quellbach Hemden", [TWILL], ago=day(5, 10), due=4, order="QH-1112")
        washing = self.receive("Zweitfaden Mode", [LINEN], ago=day(3, 10), due=6, order="ZM 90/1")
        queued = self.receive(
            "Quellbach Hemden", [FLANNEL], ago=day(3, 11), due=-1, order="QH-1115", priority=Job.Priority.URGENT
        )
        marked = self.receive("Zweitfaden Mode", [JERSEY], ago=day(2, 11), due=9, order="ZM 90/4")
        self.receive("Quellbach Hemden", [POPLIN, FLANNEL], ago=3, due=12, order="QH-1120")

        self.finish(reported, begin=day(11, 9))
        self.finish(waiting, begin=day(9, 11))
        self.cut_and_read(shirts, ago=day(6, 10))
        self.cycle(shirts, ago=day(5, 9))
        self.read(shirts, stage=1, ago=day(4, 9))
        self.cut_and_read(measuring, ago=day(4, 10))
        self.cycle(measuring, ago=day(3, 9))
        self.cut_and_read(washing, ago=day(2, 9))
        self.cut_and_read(queued, ago=day(2, 10))
        self.cut(marked, ago=day(1, 10))
        self.start_load(washing, ago=0.4)
        self.put_on_rack(marked, ago=day(1, 11))
        self.put_on_rack(measuring, ago=2)
        self.photograph(reported, "#f4f1ea", "#e6e1d5", received=day(12, 10), laundered=day(7, 15))
        self.photograph(waiting, "#a9abb0", "#8f9298", received=day(10, 11), laundered=day(5, 17))
        with self.ago(2) as at:
            requests = [request.pk for request in self.requests(reported)]
            approve(request_ids=requests, password_ok=True, by=self.people["mara"], at=at)
        with self.ago(1) as at:
            check_the_washer(manager=self.people["mara"], bench=self.people["bea"], at=at)

    def photograph(self, job: Job, warp: str, weft: str, *, received: float, laundered: float) -> None:
        """The first sample as it came and its first specimen after laundering, both chosen for the report."""
        request, bea, kept = self.requests(job)[0], self.people["bea"], []
        sample, specimen = request.sample_id, request.specimens.order_by("number").first()
        for words, ago, of in (("a mark near the fold", received, None), ("", laundered, specimen)):
            with self.ago(ago) as at:
                drawn = picture(drawn_cloth(warp, weft, stain=of is None))
                of_piece = of.pk if of else None
                kept.append(
                    keep_photo(sample_id=sample, picture=drawn, specimen_id=of_piece, caption=words, by=bea, at=at).pk
                )
        with self.ago(laundered) as at:
            choose_photos(request_id=request.pk, photo_ids=kept, by=bea, at=at)

    def the_lab(self) -> None:
        lab = Lab.objects.get(pk=1)
        lab.name, lab.is_demo = "Walkmühle Textile Laboratory (invented)", True
        lab.address, lab.location = "Am Mühlgraben 1\n1000 Beispielstadt", "Am Mühlgraben 1, Beispielstadt"
        lab.save(update_fields=["name", "is_demo", "address", "location"])
        for username, (name, roles) in PEOPLE.items():
            self.people[username] = User.objects.create_user(username, PASSWORD, full_name=name, **roles)
        with self.ago(24 * 400) as at:
            mara = self.people["mara"]
            for method in TestMethod.objects.filter(retired=False):
                grant_signatory(method_id=method.pk, person_id=mara.pk, deputy=False, by=mara, at=at)
        for company, (address, username, name) in CUSTOMERS.items():
            email = f"{username}@{company.split()[0].lower()}.example"
            customer = Customer.objects.create(name=company, address=address, contact=name, email=email)
            User.objects.create_user(username, PASSWORD, full_name=name, email=email, customer=customer)
        for name, (kind, place, calibrated) in MACHINES.items():
            self.machine(name, kind, place, calibrated)
        self.the_air()

    def machine(self, name: str, kind: str, place: str, calibrated: int | None) -> None:
        """A machine, an instrument or a room, and what was found of it so many days ago."""
        mara = self.people["mara"]
        with self.ago(24 * 400) as at:
            interval = None if calibrated is None else 12
            details = equipment.Details(name, location=place, interval_months=interval)
            self.machines[name] = equipment.add_equipment(kind=kind, details=details, by=mara, at=at)
        if calibrated is not None:
            with self.ago(24 * calibrated) as at:
                finding = equipment.Finding(
                    timezone.localdate(at),
                    "within what it must hold to",
                    usable=True,
                    certificate=f"{name[0]}-{calibrated}",
                )
                equipment.record_calibration(equipment_id=self.machines[name].pk, finding=finding, by=mara, at=at)

    def the_air(self) -> None:
        """A week of the conditioning room: the door stood open once, and the logger's battery was changed."""
        room, logger = self.machines["Conditioning room"], self.machines["Logger 1"]
        lines = ["time (UTC),temperature (°C),humidity (%)"]
        for quarter in range(4 * 24 * 7):
            at = self.now - timedelta(days=7) + timedelta(minutes=15 * quarter)
            warm = 20.1 + 0.5 * sin(quarter / 15.3) + 0.1 * sin(quarter * 1.7)
            damp = 64.6 - 1.1 * sin(quarter / 15.3 + 0.5) + 0.3 * sin(quarter * 2.3)
            if 310 <= quarter < 318:
                damp += 6
            if not 500 <= quarter < 511:
                lines.append(f"{at:%Y-%m-%d %H:%M},{warm:.1f},{damp:.1f}")
        with self.ago(0.2) as at:
            equipment.import_atmosphere(
                room_id=room.pk,
                content="\n".join(lines).encode(),
                file_name="logger-1.csv",
                instrument_id=logger.pk,
                by=self.people["bea"],
                at=at,
            )

    def receive(
        self, customer: str, cloths: list[Cloth], *, ago: float, due: int, order: str, priority: str = "normal"
    ) -> Job:
        with self.ago(ago) as at:
            company = Customer.objects.get(name=customer)
            details = JobDetails(
                customer=company,
                contact=company.contact,
                purchase_order=order,
                received_at=at,
                due_on=(self.now + timedelta(days=due)).date(),
                priority=priority,
            )
            samples = [self.sample(cloth, place=f"Shelf {n}") for n, cloth in enumerate(cloths, start=1)]
            return receive_job(job=details, samples=samples, by=self.people["fran"], at=at)

    def sample(self, cloth: Cloth, *, place: str) -> SampleDetails:
        request = RequestDetails(
            method=TestMethod.objects.get(code="aatcc-tm150-2018" if cloth.is_garment else "aatcc-tm135-2018-small"),
            procedure=LaunderingProcedure.objects.get(code="aatcc-1-iii"),
            drying=DryingProcedure.objects.get(code="aatcc-a-i"),
            review=ReviewDetails(True, True, True, label="agrees" if cloth.is_garment else ""),
            cycles=3,
            measured_after=(1, 3),
            length_lower=-Decimal(cloth.limit),
            length_upper=Decimal(cloth.limit),
            width_lower=-Decimal(cloth.limit),
            width_upper=Decimal(cloth.limit),
            limits_source="the customer's specification",
        )
        return SampleDetails(
            description=cloth.description,
            construction=cloth.construction,
            fibre=cloth.fibre,
            mass_gsm=Decimal(cloth.gsm),
            colour=cloth.colour,
            kind="garment" if cloth.is_garment else "fabric",
            size=cloth.size,
            care_label="wash at 40 °C, tumble dry" if cloth.is_garment else "",
            width_mm=None if cloth.is_garment else Decimal(1500),
            length_mm=None if cloth.is_garment else Decimal(2000),
            condition="dry, clean, folded" if cloth.is_garment else "dry, clean, rolled",
            place=place,
            requests=(request,),
        )

    def requests(self, job: Job) -> list[Request]:
        return list(Request.objects.filter(sample__job=job).select_related("sample", "procedure").order_by("pk"))

    def cut(self, job: Job, *, ago: float) -> None:
        with self.ago(ago) as at:
            for request in self.requests(job):
                points = points_for("top").filter(name__in=POINTS) if request.sample.kind == "garment" else []
                marks = bench.GarmentMarks(tuple(point.pk for point in points)) if points else None
                bench.cut_and_mark(request_id=request.pk, count=3, garment=marks, by=self.people["bea"], at=at)

    def put_on_rack(self, job: Job, *, ago: float) -> None:
        """What is to be read lies in the conditioning room, where the logger looks at the air."""
        pieces = Specimen.objects.filter(request__sample__job=job, stage__in=("marked", "owed"))
        with self.ago(ago) as at:
            bench.put_on_rack(
                specimen_ids=list(pieces.values_list("pk", flat=True)),
                room_id=self.machines["Conditioning room"].pk,
                from_dry_side=True,
                by=self.people["bea"],
                at=at,
            )

    def cut_and_read(self, job: Job, *, ago: float) -> None:
        self.cut(job, ago=ago)
        self.read(job, stage=0, ago=ago - 6)

    def read(self, job: Job, *, stage: int, ago: float) -> None:
        with self.ago(ago) as at:
            for request in self.requests(job):
                pairs = BenchmarkPair.objects.filter(specimen__request=request).order_by(
                    "specimen", "direction", "number"
                )
                entries = [
                    bench.Entry(pair_id=pair.pk, text=self.distance(request, pair, stage, n))
                    for n, pair in enumerate(pairs)
                ]
                bench.enter_readings(
                    request_id=request.pk, stage=stage, entries=entries, unit="mm", by=self.people["bea"], at=at
                )

    def distance(self, request: Request, pair: BenchmarkPair, stage: int, position: int) -> str:
        """A distance to half a millimetre, as a bench technician would read it."""
        before = (pair.nominal_mm or Decimal(POINTS[pair.point.name])) + UNEVEN[(position * 5) % 18]
        if stage == 0:
            return format(before.normalize(), "f")
        cloth = CLOTHS[request.sample.description]
        change = Decimal(getattr(cloth, pair.direction)[stage - 1])
        after = before * (1 + change / 100) + UNEVEN[position % 18]
        return format((round(after * 2) / Decimal(2)).normalize(), "f")

    def start_load(self, job: Job, *, ago: float) -> list[Load]:
        """The pieces of a job go into drums, woven and knit apart, and the wash begins."""
        loads = []
        for n, construction in enumerate(sorted({request.sample.construction for request in self.requests(job)})):
            pieces = Specimen.objects.filter(request__sample__job=job, request__sample__construction=construction)
            procedure = self.requests(job)[0].procedure
            mass = Decimal(55) * pieces.count()
            ballast = round((procedure.load_mass_g - mass) / procedure.ballast_piece_g)
            with self.ago(ago + 0.2) as at:
                load = laundry.make_up_load(specimen_ids=[piece.pk for piece in pieces], by=self.people["lou"], at=at)
            with self.ago(ago) as at:
                laundry.start_wash(
                    load_id=load.pk,
                    washer_id=self.machines[f"Washer {n + 1}"].pk,
                    specimen_mass_g=mass,
                    ballast_mass_g=ballast * procedure.ballast_piece_g,
                    ballast_pieces=ballast,
                    ballast="type 3 (50/50 polyester/cotton)",
                    detergent=procedure.detergent,
                    detergent_lot="L-0526",
                    detergent_g=procedure.detergent_g,
                    water_temp_c=procedure.wash_temp_c - Decimal("0.6"),
                    temp_source="dip",
                    thermometer_id=self.machines["Dip thermometer 1"].pk,
                    balance_id=self.machines["Balance 1"].pk,
                    programme=procedure.programme,
                    by=self.people["lou"],
                    at=at,
                )
            loads.append(load)
        return loads

    def cycle(self, job: Job, *, ago: float) -> None:
        """One whole cycle: washed, tumbled, ticked off."""
        for n, load in enumerate(self.start_load(job, ago=ago)):
            with self.ago(ago - 0.8) as at:
                laundry.end_wash(load_id=load.pk, by=self.people["lou"], at=at)
            pieces = list(LoadPiece.objects.filter(load=load).select_related("specimen"))
            with self.ago(ago - 0.9) as at:
                drying = laundry.start_drying(
                    load_id=load.pk,
                    piece_ids=[piece.pk for piece in pieces],
                    dryer_id=self.machines[f"Dryer {n + 1}"].pk,
                    by=self.people["lou"],
                    at=at,
                )
            with self.ago(ago - 1.6) as at:
                laundry.end_drying(
                    drying_id=drying.pk,
                    lint_filter_cleaned=True,
                    exhaust_c=Decimal(64),
                    remark="",
                    by=self.people["lou"],
                    at=at,
                )
                for piece in pieces:
                    laundry.tick_cycle(
                        specimen_id=piece.specimen_id, ordinal=piece.ordinal, by=self.people["lou"], at=at
                    )

    def finish(self, job: Job, *, begin: float) -> None:
        """From the scissors to the last reading."""
        self.cut_and_read(job, ago=begin)
        self.cycle(job, ago=begin - 24)
        self.read(job, stage=1, ago=begin - 48)
        self.cycle(job, ago=begin - 72)
        self.cycle(job, ago=begin - 78)
        self.read(job, stage=3, ago=begin - 102)
