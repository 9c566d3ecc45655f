"""Short ways to rows and figures of the catalogue, and to a lab that has confirmed all of an edition."""

from apps.intake.models import Request
from apps.methods import services
from apps.methods.models import DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.methods.queries import Catalogued, unconfirmed
from apps.methods.services import DryingNumbers, MethodNumbers, WashNumbers
from tests.cast import NOON, a_received_job

NOTE = "the lab's copy of 2018, clause 6"


def a_figure(owner: str, name: str) -> Figure:
    return Figure.objects.get(owner=owner, name=name)


def confirm(cast, figure: Figure, value: str | None = None, **more) -> object:
    values = {"shown_value": figure.stands, "value": figure.stands if value is None else value, "note": NOTE}
    return services.confirm_figure(figure_id=figure.pk, **{**values, "by": cast.mara, "at": NOON, **more})


def confirm_all(cast, row: Catalogued) -> None:
    """Every figure below high is held against the lab's copy; what was not known is filled in."""
    for figure in unconfirmed(row):
        confirm(cast, figure, figure.stands or "the copy gives none")


def used(cast, **order) -> Request:
    """A request by TM135-2018 small, washed by (1) III, dried by AATCC A(i), or as `order` says."""
    return Request.objects.get(sample__job=a_received_job(cast, **order))


def wash_numbers(origin: LaunderingProcedure, **changes) -> WashNumbers:
    names = WashNumbers.__dataclass_fields__
    return WashNumbers(**{**{name: getattr(origin, name) for name in names}, **changes})


def method_numbers(origin: TestMethod, **changes) -> MethodNumbers:
    names = MethodNumbers.__dataclass_fields__
    return MethodNumbers(**{**{name: getattr(origin, name) for name in names}, **changes})


def drying_numbers(origin: DryingProcedure, **changes) -> DryingNumbers:
    names = DryingNumbers.__dataclass_fields__
    return DryingNumbers(**{**{name: getattr(origin, name) for name in names}, **changes})


def wash(code: str = "aatcc-1-iii") -> LaunderingProcedure:
    return LaunderingProcedure.objects.get(code=code)


def method(code: str = "aatcc-tm135-2018-small") -> TestMethod:
    return TestMethod.objects.get(code=code)


def drying(code: str = "aatcc-a-i") -> DryingProcedure:
    return DryingProcedure.objects.get(code=code)
