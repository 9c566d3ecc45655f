"""The people and machines that tests know by name. All invented.

Fran receives, Bea marks and measures, Lou launders, Mara approves; Casey is a customer's person, Dana another's.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime

from django.test import TestCase

from apps.accounts.models import Customer, User
from apps.core import clock
from apps.equipment import services as equipment
from apps.equipment.models import Calibration, Equipment
from apps.equipment.queries import usable
from apps.intake import services as intake
from apps.intake.models import Job, Request
from apps.intake.services import JobDetails, RequestDetails, ReviewDetails, SampleDetails
from apps.laundering import services as laundering
from apps.laundering.models import Load
from apps.measuring import services as measuring
from apps.measuring.models import BenchmarkPair
from apps.methods.models import DryingProcedure, LaunderingProcedure, TestMethod
from apps.reporting.models import Signatory

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)  # a Monday
PASSWORD = "cloth-and-ink-26"


@dataclass
class Cast:
    fran: User
    bea: User
    lou: User
    mara: User
    casey: User
    dana: User
    quellbach: Customer
    zweitfaden: Customer
    washers: list[Equipment]
    dryers: list[Equipment]

    def by_role(self) -> dict[str, User | None]:
        """For walks over who may: nobody signed in, then everybody."""
        everybody = (self.fran, self.bea, self.lou, self.mara, self.casey, self.dana)
        return {"nobody": None, **{user.username: user for user in everybody}}


def a_person(username: str, full_name: str, **fields) -> User:
    email = f"{username}@example.com"
    return User.objects.create_user(username, PASSWORD, full_name=full_name, email=email, **fields)


def assemble() -> Cast:
    """Everybody, and two washers and two dryers."""
    quellbach = Customer.objects.create(name="Quellbach Hemden", contact="Casey Quellbach", email="casey@example.com")
    zweitfaden = Customer.objects.create(name="Zweitfaden Mode", contact="Dana Zweitfaden", email="dana@example.com")
    washer, dryer = Equipment.Kind.WASHER, Equipment.Kind.DRYER
    cast = Cast(
        fran=a_person("fran", "Fran Frontdesk", front_desk=True),
        bea=a_person("bea", "Bea Bench", bench=True),
        lou=a_person("lou", "Lou Laundry", laundry=True),
        mara=a_person("mara", "Mara Manager", manager=True),
        casey=a_person("casey", "Casey Quellbach", customer=quellbach),
        dana=a_person("dana", "Dana Zweitfaden", customer=zweitfaden),
        quellbach=quellbach,
        zweitfaden=zweitfaden,
        washers=[Equipment.objects.create(name=name, kind=washer) for name in ("W1", "W2")],
        dryers=[Equipment.objects.create(name=name, kind=dryer) for name in ("D1", "D2")],
    )
    may_sign(cast.mara)
    return cast


def may_sign(person: User) -> User:
    """A manager who signs for every method."""
    Signatory.objects.bulk_create(
        Signatory(method=method, person=person, since=NOON) for method in TestMethod.objects.all()
    )
    return person


class LabTestCase(TestCase):
    """The cast as attributes, and the house's clock standing at NOON (`clock.set_to` moves it within a test)."""

    @classmethod
    def setUpClass(cls) -> None:
        cls.enterClassContext(clock.set_to(NOON))
        super().setUpClass()

    @classmethod
    def setUpTestData(cls) -> None:
        for name, value in vars(assemble()).items():
            setattr(cls, name, value)

    def sign_in(self, user: User | None) -> None:
        """Who asks from now on; None is nobody."""
        self.client.logout()
        if user is not None:
            self.client.force_login(user)


# Work in hand: each room adds here what the rooms after it need, made by its own services
# (`a_received_job()`, `a_marked_request()`, `a_washed_request()`, ...), never by raw rows.


def a_calibration(cast, machine: Equipment, *, at: datetime = NOON, **finding) -> Calibration:
    """A machine or instrument found fit a year before, unless `finding` says otherwise."""
    found = {"done_on": date(2025, 3, 2), "as_found": "in order", "usable": True, **finding}
    return equipment.record_calibration(
        equipment_id=machine.pk, finding=equipment.Finding(**found), by=cast.mara, at=at
    )


def a_request_for(method: str = "aatcc-tm135-2018-small", **order) -> RequestDetails:
    """How a sample is to be tested: one cycle, measured, no limits, unless `order` says otherwise."""
    family = TestMethod.objects.get(code=method).family
    iso = family == "iso"
    wash, drying = ("iso-6330-2012-4n", "iso-6330-2012-a") if iso else ("aatcc-1-iii", "aatcc-a-i")
    details = {
        "method": TestMethod.objects.get(code=method),
        "procedure": LaunderingProcedure.objects.get(code=wash),
        "drying": DryingProcedure.objects.get(code=drying),
        "review": ReviewDetails(can_do=True, enough_cloth=True, agreed=True),
        "cycles": 1,
        "measured_after": (1,),
    }
    return RequestDetails(**{**details, **order})


def a_received_job(cast, *, samples: int = 1, customer=None, at: datetime = NOON, **order) -> Job:
    """A job of woven samples, each with one request. `order` goes to a_request_for."""
    sample = SampleDetails("blue twill, invented", "woven", requests=(a_request_for(**order),))
    job = JobDetails(customer or cast.quellbach, received_at=at)
    with clock.set_to(max(at, clock.now())):
        return intake.receive_job(job=job, samples=[sample] * samples, by=cast.fran, at=at)


def a_marked_request(cast, *, count: int = 3, fewer_reason: str = "", at: datetime = NOON, **order) -> Request:
    """A request whose specimens are cut and carry their marks; no original reading yet."""
    request = Request.objects.get(sample__job=a_received_job(cast, at=at, **order))
    measuring.cut_and_mark(request_id=request.pk, count=count, fewer_reason=fewer_reason, by=cast.bea, at=at)
    return request


def with_readings(cast, request: Request, stage: int, values, *, at: datetime = NOON, unit: str = "mm") -> Request:
    """The readings of a stage on every pair still in the test. `values`: one text for all, or one a pair in bench
    order (specimen by specimen, lengths then widths); an empty text leaves the pair unread."""
    pairs = BenchmarkPair.objects.filter(specimen__request=request).exclude(specimen__stage="set_aside")
    keys = list(pairs.order_by("specimen__number", "direction", "number").values_list("pk", flat=True))
    texts = [values] * len(keys) if isinstance(values, str) else values
    entries = [measuring.Entry(pair, text) for pair, text in zip(keys, texts, strict=True)]
    measuring.enter_readings(request_id=request.pk, stage=stage, entries=entries, unit=unit, by=cast.bea, at=at)
    return request


def with_originals(cast, request: Request, values="250", **how) -> Request:
    """Every original reading is in: the specimens may be washed."""
    return with_readings(cast, request, 0, values, **how)


def in_a_load(cast, request: Request, *, at: datetime = NOON) -> Load:
    """Every piece of the request that may be washed lies in one load."""
    ready = request.specimens.filter(stage="ready").values_list("pk", flat=True)
    return laundering.make_up_load(specimen_ids=ready, by=cast.lou, at=at)


def measured_with(at: datetime) -> dict[str, int]:
    """The lab's thermometer and balance, where it has them."""
    found = {kind: usable(kind, at.date()).first() for kind in ("thermometer", "balance")}
    return {f"{kind}_id": one.pk for kind, one in found.items() if one}


def washed_and_dried(cast, load: Load, *, at: datetime = NOON) -> Load:
    """The load is washed as its procedure asks, and dried; nothing is ticked off yet."""
    wash, pieces = load.procedure, list(load.pieces.filter(open=True).select_related("specimen__request__drying"))
    who = {"by": cast.lou, "at": at}
    laundering.start_wash(
        load_id=load.pk,
        washer_id=cast.washers[0].pk,
        specimen_mass_g="300",
        ballast_mass_g=str(wash.load_mass_g - 300),
        ballast_pieces="11",
        ballast=wash.ballast,
        detergent=wash.detergent,
        detergent_lot="invented 7",
        detergent_g=str(wash.detergent_g or 20),
        water_temp_c=str(wash.wash_temp_c),
        temp_source="dip",
        **measured_with(at),
        **who,
    )
    laundering.end_wash(load_id=load.pk, **who)
    machine = pieces[0].specimen.request.drying.needs_machine
    dryer = cast.dryers[0].pk if machine else None
    drying = laundering.start_drying(piece_ids=[piece.pk for piece in pieces], dryer_id=dryer, **who)
    laundering.end_drying(
        drying_id=drying.pk,
        lint_filter_cleaned=machine,
        exhaust_c="60" if machine else None,
        cooled_down=True if machine else None,
        **who,
    )
    return load


def out_of_the_load(cast, load: Load, *, at: datetime = NOON) -> Load:
    """The load is washed, dried, and its cycles are ticked off."""
    washed_and_dried(cast, load, at=at)
    shown = dict(load.pieces.filter(open=True).values_list("specimen_id", "ordinal"))
    laundering.tick_cycles(shown=shown, by=cast.lou, at=at)
    return load


def after_cycle(cast, request: Request, *, cycles: int = 1, at: datetime = NOON) -> Request:
    """That many cycles more: washed, dried and ticked off; readings are due where the request asks for them."""
    for _ in range(cycles):
        out_of_the_load(cast, in_a_load(cast, request, at=at), at=at)
    return request
