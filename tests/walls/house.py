"""A lab in full work for the walks over its pages: the demo's scenario, and every state that it lacks."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any
from uuid import uuid4

from django.contrib.auth.tokens import default_token_generator
from django.db import transaction
from django.test import TestCase
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils.http import urlsafe_base64_encode

from apps.accounts import services as accounts
from apps.accounts.models import Customer, Role, Token, User
from apps.control import services as control
from apps.control.models import Check, CheckPoint, Study, StudyReading
from apps.control.services import studies
from apps.core import clock
from apps.equipment import services as equipment
from apps.equipment.models import AtmosphereImport, AtmosphereReading, Calibration, Equipment, Hold
from apps.front.scenario import Scenario
from apps.intake import services as intake
from apps.intake.models import Announcement, Deviation, Photo, Request, Sample, SendBack, Specimen
from apps.laundering import services as laundering
from apps.laundering.models import Drying, KeptTap, Load
from apps.measuring.models import Reading
from apps.methods import services as methods
from apps.methods.models import DryingProcedure, ExtraMeasurement, Figure, LaunderingProcedure, TestMethod
from apps.reporting import services as reporting
from apps.reporting.models import ExternalResult, Nonconformity, Report, Signatory
from tests import cast

TODAY = datetime(2026, 5, 6, 9, 30, tzinfo=UTC)
PASSWORD = "cloth-and-ink-26"  # longer than the demo's, as the house asks of a new one
STAFF = ("mara", "fran", "bea", "lou")
FEW = 6
# Views whose number is a report's; of the API and of the pages.
REPORTS = ("report", "pdf", "csv", "xlsx", "json", "photo", "amend", "close_amendment", "withdraw")
CATALOGUE = {"wash": LaunderingProcedure, "drying": DryingProcedure, "extra": ExtraMeasurement}


class BusyHouse(Scenario):
    """All of it happens at `now` or before, through the services."""

    def write(self) -> None:
        super().write()
        for user in User.objects.all():
            user.set_password(PASSWORD)
            user.save()
        self.who = SimpleNamespace(
            **self.people,
            casey=User.objects.get(username="casey"),
            quellbach=Customer.objects.get(name="Quellbach Hemden"),
            washers=[self.machines["Washer 2"], self.machines["Washer 1"]],
            dryers=[self.machines["Dryer 1"], self.machines["Dryer 2"]],
        )
        self.reports_of_every_kind()
        self.work_in_every_state()
        self.things_to_answer()
        self.odds_and_ends()

    def work_in_every_state(self) -> None:
        at = self.now
        requests = [cast.with_originals(self.who, cast.a_marked_request(self.who, at=at), at=at) for _ in range(5)]
        cast.in_a_load(self.who, requests[0], at=at)
        *washed, void = [cast.in_a_load(self.who, request, at=at) for request in requests[1:]]
        for load in [*washed, void]:
            self.wash(load, at)
        laundering.void_load(load_id=void.pk, reason="power cut, invented", by=self.who.lou, at=at)
        for load, dryer in zip(washed[1:], self.who.dryers, strict=True):
            pieces = list(load.pieces.values_list("pk", flat=True))
            drying = laundering.start_drying(piece_ids=pieces, dryer_id=dryer.pk, by=self.who.lou, at=at)
        laundering.end_drying(drying_id=drying.pk, lint_filter_cleaned=True, by=self.who.lou, at=at)

    def wash(self, load: Load, at: datetime) -> None:
        wash = load.procedure
        laundering.start_wash(
            load_id=load.pk,
            washer_id=self.who.washers[0].pk,
            specimen_mass_g="300",
            ballast_mass_g=str(wash.load_mass_g - 300),
            ballast_pieces="11",
            ballast=wash.ballast,
            detergent=wash.detergent,
            detergent_lot="L-0526",
            detergent_g=str(wash.detergent_g or 20),
            water_temp_c=str(wash.wash_temp_c),
            temp_source="dip",
            **cast.measured_with(at),
            by=self.who.lou,
            at=at,
        )
        laundering.end_wash(load_id=load.pk, by=self.who.lou, at=at)

    def things_to_answer(self) -> None:
        at, mara = self.now, self.who.mara
        rib = Request.objects.get(sample__description__startswith="Rib for cuffs")
        intake.send_back(request_id=rib.pk, to="bench", reason="Width of B1 once more", by=mara, at=at)
        about = {"job_id": rib.sample.job_id, "request_id": rib.pk, "by": self.who.lou, "at": at}
        intake.deviate(kind="wash", text="no lid", at_risk=True, **about)
        waiting = Request.objects.filter(specimens__stage="ready", send_backs=None).distinct()
        marked = Request.objects.filter(specimens__stage="marked", send_backs=None).distinct()
        intake.send_back(request_id=waiting.first().pk, to="laundry", reason="Which lot was it?", by=mara, at=at)
        intake.send_back(request_id=marked.first().pk, to="front_desk", reason="Which colour?", by=mara, at=at)

    def reports_of_every_kind(self) -> None:
        """Issued, withdrawn, opened by an amendment, and one that is still being made."""
        from tests.measuring.test_garments import a_garment
        from tests.reporting.support import a_finished_job, requests_of

        a_garment(self.who)
        made = []
        for _ in range(3):
            job = a_finished_job(self.who, count=1, at=self.now)
            ids = [request.pk for request in requests_of(job)]
            made.append(reporting.approve(request_ids=ids, password_ok=True, by=self.who.mara, at=self.now))
        by_mara = {"by": self.who.mara, "at": self.now}
        reporting.withdraw(report_id=made[0].pk, reason="wrong cloth, invented", **by_mara)
        reporting.open_amendment(report_id=made[1].pk, reason="a slip", opened_for="readings", **by_mara)
        reporting.build_pending(limit=3, now=self.now)

    def odds_and_ends(self) -> None:
        by_mara = {"by": self.who.mara, "at": self.now}
        leaks = equipment.Details("Washer 3")
        broken = equipment.add_equipment(kind="washer", details=leaks, **by_mara)
        equipment.put_out_of_service(equipment_id=broken.pk, reason="leaks", **by_mara)
        air = {"room_id": self.machines["Conditioning room"].pk, "instrument_id": self.machines["Logger 1"].pk}
        equipment.log_atmosphere(**air, temperature="20.1", humidity="65", **by_mara)
        self.papers()
        self.checks()
        load = Load.objects.filter(state="washed").earliest("pk")
        laundering.keep_tap(
            tap=laundering.Tap(uuid4(), f"/laundry/loads/{load.pk}/end/", "the end of a wash", "", [("spun", "on")]),
            piece_ids=list(load.pieces.values_list("pk", flat=True)),
            load_id=load.pk,
            refusal="It is washed already.",
            by=self.who.lou,
            at=self.now,
        )
        for model in (TestMethod, LaunderingProcedure, DryingProcedure, ExtraMeasurement):
            row = model.objects.filter(retired=False).latest("pk")
            methods.retire(owner=row.owner, reason="nobody asks for it", **by_mara)
        User.objects.create_user("otto", PASSWORD, full_name="Otto Ginster", manager=True)
        User.objects.create_user("gone", PASSWORD, full_name="Gone Esche", bench=True, is_active=False)

    def papers(self) -> None:
        """What is written beside the work: a parcel announced, a token, another laboratory's result, a record."""
        by_mara, by_casey = ({"by": who, "at": self.now} for who in (self.who.mara, self.who.casey))
        coming = intake.Announced(samples=({"description": "Denim", "construction": "woven"},), test={})
        intake.announce(details=coming, **by_casey)
        accounts.make_token(name="our system", ends_on=self.now.date() + timedelta(days=30), **by_casey)
        accounts.make_token(name="tape at bench 2", ends_on=self.now.date() + timedelta(days=30), **by_mara)
        request = Request.objects.filter(lock="open").earliest("pk")
        theirs = {"laboratory": "Garnlabor, Zwirnau", "accreditation": "", "test": "pilling", "result": "grade 4"}
        found = reporting.ExternalDetails(**theirs, reference="G-17", consent="Casey, by phone")
        reporting.add_external_result(sample_id=request.sample_id, details=found, file=None, **by_mara)
        touched = {"title": "Wrong ballast", "what": "Two pieces too many.", "found_on": self.now.date()}
        reporting.record_nonconformity(kind="work", jobs=[request.sample.job.number], **touched, **by_mara)

    def checks(self) -> None:
        """A check fabric that ran once, and a machine whose results wait."""
        by_mara = {"by": self.who.mara, "at": self.now}
        load = Load.objects.filter(state="washed").latest("pk")
        control.add_fabric(name="Calico, invented", lot="1", **by_mara)
        fabric = control.add_fabric(name="Plain weave, invented", lot="7", **by_mara)
        what = {"fabric_id": fabric.pk, "washer_id": load.washer_id, "procedure_id": load.procedure_id}
        check = control.plan_check(**what, every_loads=10, every_days=None, **by_mara)
        read = {"length": control.Typed("250 250", "248 248"), "width": control.Typed("250", "249.5")}
        control.record_run(check_id=check.pk, load_id=load.pk, unit="mm", typed=read, **by_mara)
        for trials in (2, 3):
            study = studies.plan_study(
                method_id=TestMethod.objects.get(code="aatcc-tm135-2018-small").pk,
                direction="length",
                unit="mm",
                trials=trials,
                pieces=["A1 length 1", "A1 length 2"],
                reader_ids=[self.who.bea.pk, self.who.mara.pk],
                **by_mara,
            )
            studies.read_pieces(study_id=study.pk, typed={(1, 1): "250.5"}, **by_mara)
        with transaction.atomic():
            equipment.hold_results(equipment_id=load.washer_id, since=self.now, reason="an alarm", **by_mara)


class HouseTestCase(TestCase):
    """The busy house, with its clock standing at TODAY."""

    @classmethod
    def setUpClass(cls) -> None:
        cls.enterClassContext(clock.set_to(TODAY))
        super().setUpClass()

    @classmethod
    def setUpTestData(cls) -> None:
        BusyHouse(TODAY).write()

    def sign_in(self, who: str) -> User:
        user = User.objects.get(username=who)
        self.client.force_login(user)
        return user


@dataclass(frozen=True)
class Address:
    view: str  # its name, such as laundering:load
    path: str
    roles: frozenset[Role] | None  # None: open to all
    by_token: bool = False  # for programs: no session opens it


def patterns(resolver: URLResolver | None = None, app: str = "") -> Iterator[tuple[str, URLPattern]]:
    """(name of the view with its app, pattern) of every address of the house."""
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from patterns(pattern, pattern.app_name or app)
        else:
            yield f"{app}:{pattern.name}", pattern


def addresses(most: int = 99) -> list[Address]:
    """Every address with arguments that mean something: at most so many of each."""
    found = []
    for view, pattern in patterns():
        for kwargs in arguments(view, set(pattern.pattern.converters))[:most]:
            path, call = reverse(view, kwargs=kwargs), pattern.callback
            found.append(Address(view, path, call.allowed_roles, getattr(call, "by_token", False)))
    return found


def arguments(view: str, names: set[str]) -> list[dict[str, Any]]:
    """What may stand in an address. A new kind of argument is put in here: a test asks for it."""
    if not names:
        return [{}]
    room = view.split(":")[0]
    told = _told(view, room, frozenset(names))
    if told or len(names) > 1:
        return told
    (name,) = names
    rows = _rows(room).get(name)
    return [] if rows is None else [{name: pk} for pk in rows.values_list("pk", flat=True)[:FEW]]


def _rows(room: str) -> dict[str, Any]:
    """What a number in an address counts."""
    return {
        "equipment_id": Equipment.objects.order_by("times_out", "pk"),
        "room_id": Equipment.objects.filter(kind="room"),
        "calibration_id": Calibration.objects.order_by("-pk"),
        "import_id": AtmosphereImport.objects,
        "person_id": User.objects.order_by("-customer", "pk"),
        "customer_id": Customer.objects,
        "token_id": Token.objects.order_by("pk"),
        "announcement_id": Announcement.objects,
        "method_id": TestMethod.objects.filter(retired=False),
        "signatory_id": Signatory.objects.order_by("pk"),
        "drying_id": Drying.objects.filter(pk__in=_one_a_state(Drying)),
        "specimen_id": Specimen.objects.filter(pk__in=_one_a_state(Specimen, "stage")),
        "reading_id": (AtmosphereReading if room == "equipment" else Reading).objects.order_by("-pk"),
        "send_back_id": SendBack.objects,
        "kept_id": KeptTap.objects,
        "figure_id": Figure.objects,
        "request_id": Request.objects.filter(pk__in=[*_one_a_state(Request, "lock"), *_one_a_state(Request, "method")]),
        "record_id": Nonconformity.objects,
        "hold_id": Hold.objects.order_by("pk"),
        "study_id": Study.objects.order_by("-pk"),
        "entry_id": StudyReading.objects.order_by("-pk"),
        "check_id": Check.objects.order_by("pk"),
        "point_id": CheckPoint.objects.order_by("pk"),
    }


def _told(view: str, room: str, names: frozenset[str]) -> list[dict[str, Any]]:
    """Arguments that are no primary key, or that go together."""
    if "number" in names and view.split(":")[1].startswith(REPORTS):
        reports = [{"number": number} for number in Report.objects.values_list("number", flat=True)]
        shown = Photo.objects.order_by("pk").values_list("blob", flat=True)[:2]
        return [r | {"sha256": sha} for r in reports for sha in shown] if "sha256" in names else reports
    if names == {"code"} and room == "methods":
        model = next((model for word, model in CATALOGUE.items() if word in view), TestMethod)
        rows = sorted(model.objects.all(), key=lambda row: (bool(row.missing), not row.retired, row.pk))
        return [{"code": row.code} for row in rows[:FEW]]
    found: dict[frozenset[str], Any] = {
        frozenset({"check_id", "direction"}): lambda: [
            {"check_id": check.pk, "direction": "length"} for check in Check.objects.order_by("pk")
        ],
        frozenset({"number"}): lambda: _loads() if room == "laundering" else _samples("number", "job__number"),
        frozenset({"code"}): lambda: _samples("code"),
        frozenset({"code", "ordinal"}): lambda: [sample | {"ordinal": 1} for sample in _samples("code")],
        frozenset({"number", "procedure_id"}): lambda: [
            load | {"procedure_id": drying.pk}
            for drying in DryingProcedure.objects.filter(code="aatcc-a-i")
            for load in _loads()
        ],
        frozenset({"label"}): lambda: [{"label": piece.code} for piece in Specimen.objects.order_by("-pk")[:FEW]],
        frozenset({"code", "sha256"}): lambda: [
            {"code": photo.sample.code, "sha256": photo.blob_id} for photo in Photo.objects.order_by("pk")
        ],
        frozenset({"number", "deviation_id"}): lambda: [
            {"number": d.job.number, "deviation_id": d.pk} for d in Deviation.objects.order_by("-at_risk")[:FEW]
        ],
        frozenset({"number", "request_id"}): lambda: [
            {"number": r.sample.job.number, "request_id": r.pk} for r in Request.objects.order_by("-lock")[:FEW]
        ],
        frozenset({"request_id", "result_id"}): lambda: [
            {"request_id": result.sample.requests.first().pk, "result_id": result.pk}
            for result in ExternalResult.objects.all()
        ],
        frozenset({"rest"}): lambda: [{"rest": "2/none-such"}],
        frozenset({"name", "token"}): lambda: [_link(User.objects.get(username="dana"))],
    }
    return found.get(names, list)()


def _link(user: User) -> dict[str, Any]:
    """Of the letter to somebody who forgot the password, and has not come in since: that ends it."""
    return {"name": urlsafe_base64_encode(b"%d" % user.pk), "token": default_token_generator.make_token(user)}


def _loads() -> list[dict[str, Any]]:
    """Of each state, and of each state of what dries of it."""
    return [{"number": pk} for pk in sorted(set(_one_a_state(Load, "state", "pieces__drying__state")))]


def _one_a_state(model: Any, *columns: str) -> list[int]:
    """Of each state the newest row, in the order of the states' names."""
    rows = model.objects.order_by("pk").values_list(*(columns or ["state"]), "pk")
    return [pk for _, pk in sorted({str(state): pk for *state, pk in rows}.items())]


def _samples(name: str, column: str = "code") -> list[dict[str, str]]:
    """Of each stage that work has come to, and of each lock, a sample; both customers' among them."""
    stage, lock, back = "requests__specimens__stage", "requests__lock", "requests__send_backs__to"
    rows = Sample.objects.order_by("pk").values_list(column, stage, lock, back, "job__customer", "kind")
    return [{name: code} for code in sorted(set({tuple(state): code for code, *state in rows}.values()))]
