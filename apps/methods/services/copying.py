"""The lab makes a method, a wash or a drying of its own after one that is in the catalogue."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, TypeVar
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.text import slugify

from apps.accounts.models import User
from apps.core import clock
from apps.core.errors import Refusal
from apps.core.texts import line
from apps.methods.models import ENDS, Averaging, DryingProcedure, Figure, LaunderingProcedure, TestMethod
from apps.methods.numbers import COLUMNS, TEXTS, check_row, in_bounds, plain, told
from apps.methods.services.locking import lock_row
from apps.trail import services as trail

Row = TypeVar("Row", TestMethod, LaunderingProcedure, DryingProcedure)
OWN = "lab's own"
MAY_BE_EMPTY = {"specimen_side_mm", "detergent_g", "detergent_tolerance_g", "exhaust_max_c", "exhaust_tolerance_c"}


@dataclass(frozen=True)
class MethodNumbers:
    """What the rules reckon with. A garment has no side."""

    specimens: int
    pairs_per_direction: int
    specimen_side_mm: Decimal | None
    benchmark_mm: Decimal
    averaging: str
    rounding_step: Decimal
    reading_resolution_mm: Decimal


@dataclass(frozen=True)
class WashNumbers:
    """What is set on the machine and weighed. Without a dose of detergent none is checked."""

    programme: str
    wash_temp_c: Decimal
    wash_temp_tolerance_c: Decimal
    load_mass_g: Decimal
    load_tolerance_g: Decimal
    ballast: str
    ballast_piece_g: Decimal
    detergent: str
    detergent_g: Decimal | None
    detergent_tolerance_g: Decimal | None


@dataclass(frozen=True)
class DryingNumbers:
    """How hot a tumble dryer's exhaust may be, and what the operator reads."""

    exhaust_max_c: Decimal | None
    exhaust_tolerance_c: Decimal | None
    instruction: str


@transaction.atomic
def copy_method(
    *,
    method_id: int,
    designation: str,
    edition: str,
    title: str = "",
    numbers: MethodNumbers,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> TestMethod:
    """A method of the lab's own after this one: the same washes go with it, its numbers are the lab's."""
    names = {
        "designation": line(designation, what="The name", field="designation", most=80),
        "edition": line(edition, what="The edition", field="edition", most=20),
    }
    origin = lock_row(TestMethod.objects.get(pk=method_id).owner)

    def check() -> None:
        for field, sentence in (("designation", "Give it a name."), ("edition", "Say which edition this is.")):
            if not names[field]:
                raise Refusal(sentence, code=f"{field}_missing", field=field)
        same = TestMethod.objects.filter(designation__iexact=names["designation"])
        if same.filter(copied_from__isnull=True).exists():
            raise Refusal(
                f"{names['designation']} is a method of the catalogue. Give the lab's own another name.",
                code="name_taken",
                field="designation",
            )
        if same.filter(edition__iexact=names["edition"]).exists():
            raise Refusal(
                f"{names['designation']} has an edition {names['edition']} already.", code="name_taken", field="edition"
            )
        if numbers.averaging not in Averaging.values:
            raise Refusal("Say how the readings are averaged.", code="averaging", field="averaging")
        if (numbers.specimen_side_mm is None) != (origin.applies_to == TestMethod.AppliesTo.GARMENT):
            sentence = (
                "A garment is its own specimen; it has no side." if numbers.specimen_side_mm else "Give the side."
            )
            raise Refusal(sentence, code="side", field="specimen_side_mm")

    values = {**names, "title": title or _base(origin.title)}
    return _copy(origin, " ".join(names.values()), values, numbers, check, by=by, at=at, key=key)


@transaction.atomic
def copy_procedure(
    *,
    procedure_id: int,
    label: str,
    title: str = "",
    numbers: WashNumbers,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> LaunderingProcedure:
    """A wash of the lab's own after this one: for the methods of the same family, with the lab's numbers."""
    label = line(label, what="The label", field="label", most=80)
    origin = lock_row(LaunderingProcedure.objects.get(pk=procedure_id).owner)

    def check() -> None:
        _check_label(origin, label)
        if (numbers.detergent_g is None) != (numbers.detergent_tolerance_g is None):
            raise Refusal("Give the dose with its tolerance, or neither.", code="dose", field="detergent_tolerance_g")

    told_title = title or f"{line(numbers.programme, what='The programme', field='programme', most=60)}, "
    told_title += "" if title else f"{plain(numbers.wash_temp_c)} °C"
    values = {"label": label, "title": told_title, "source": _after(origin)}
    return _copy(origin, label, values, numbers, check, by=by, at=at, key=key)


@transaction.atomic
def copy_drying(
    *,
    drying_id: int,
    label: str,
    title: str = "",
    numbers: DryingNumbers,
    by: User,
    at: datetime,
    key: UUID | None = None,
) -> DryingProcedure:
    """A drying of the lab's own after this one, of the same kind and for the methods of the same family."""
    label = line(label, what="The label", field="label", most=40)
    origin = lock_row(DryingProcedure.objects.get(pk=drying_id).owner)

    def check() -> None:
        _check_label(origin, label)
        if {label[:1], label[1:2]} & set(ENDS):
            raise Refusal(
                "A letter alone says nothing: it tumbles in one standard and hangs in the other. Give it a name.",
                code="bare_letter",
                field="label",
            )
        if (numbers.exhaust_max_c is None) == (origin.kind == DryingProcedure.Kind.TUMBLE):
            sentence = "Only a tumble dryer has an exhaust." if numbers.exhaust_max_c else "Give the exhaust's limit."
            raise Refusal(sentence, code="exhaust", field="exhaust_max_c")
        if not numbers.instruction.strip():
            raise Refusal("Say how it is dried.", code="instruction_missing", field="instruction")

    values = {"label": label, "title": title or _base(origin.title), "source": _after(origin)}
    return _copy(origin, label, values, numbers, check, by=by, at=at, key=key)


def _copy(
    origin: Row,
    name: str,
    values: dict[str, Any],
    numbers: Any,
    check: Any,
    *,
    by: User,
    at: datetime,
    key: UUID | None,
) -> Row:
    """The row and its figures, in one transaction with its entry in the histories of both."""
    payload = {"act": "copy", "owner": origin.owner, **values, **asdict(numbers)}
    if done := trail.repeated(key=key, payload=payload, by=by):
        return type(origin).objects.get(pk=done.facts["row"])
    clock.check_moment(at)
    check()
    new = _checked(asdict(numbers))
    values["title"] = line(f"{values['title']}; {_after(origin)}", what="The title", field="title", most=250)
    kept = {field.attname: getattr(origin, field.attname) for field in origin._meta.concrete_fields}
    fresh = {"id": None, "code": _code(type(origin), name), "copied_from_id": origin.pk, "retired": False}
    fresh |= {"in_scope": False} if "in_scope" in kept else {}
    row = type(origin)(**{**kept, **fresh, **values, **new})
    check_row(row)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        raise Refusal(
            "There is one with this name already.", code="name_taken", field="label" if "label" in values else None
        ) from error
    Figure.objects.bulk_create(_figures(origin, row, new))
    changed = {name: value for name, value in new.items() if getattr(origin, name) != value}
    facts = {"row": row.pk, "copy": str(row), "after": str(origin), "numbers": changed}
    streams = [origin.owner, row.owner]
    trail.record(stream=streams, kind="catalogue.copied", by=by, at=at, facts=facts, key=key, payload=payload)
    return row


def _checked(numbers: dict[str, Any]) -> dict[str, Any]:
    """Each number within its bounds, each text in one line; refused beside its field."""
    new = {}
    for name, value in numbers.items():
        if name in COLUMNS:
            if value is None and name not in MAY_BE_EMPTY:
                raise Refusal(f"{COLUMNS[name].what}: the number is missing.", code="missing", field=name)
            new[name] = None if value is None else in_bounds(name, value, name)
        elif name in TEXTS or name == "instruction":
            what = TEXTS.get(name, "The instruction")
            most = {"programme": 60, "instruction": 300}.get(name, 120)
            new[name] = line(value, what=what, field=name, most=most)
            if not new[name]:
                raise Refusal(f"{what} is missing.", code="missing", field=name)
        else:
            new[name] = value
    return new


def _figures(origin: Row, row: Row, new: Mapping[str, Any]) -> list[Figure]:
    """The figures of the copy. A number that was set anew is the lab's; any other keeps its standing."""
    figures, told_fields = [], set()
    for figure in Figure.objects.filter(owner=origin.owner).with_confirmations():
        told_fields.add(figure.field)
        tolerance = COLUMNS[figure.field].tolerance if figure.field in COLUMNS else ""
        columns = [name for name in (figure.field, tolerance) if name in new]
        if any(getattr(origin, name) != new[name] for name in columns):
            figures.append(_set_by_lab(row, figure.name, figure.field, new, origin))
            continue
        source = f"{OWN}, copied from {origin}: {_first_source(figure)}"[:300]
        confidence = figure.confidence if figure.to_confirm else Figure.Confidence.HIGH
        figures.append(
            Figure(
                owner=row.owner,
                name=figure.name,
                value=figure.stands,
                source=source,
                confidence=confidence,
                field=figure.field,
            )
        )
    tolerances = {column.tolerance for column in COLUMNS.values()}
    for name, value in new.items():
        if name in COLUMNS and name not in tolerances and name not in told_fields and value is not None:
            figures.append(_set_by_lab(row, COLUMNS[name].what.lower(), name, new, origin))
    return figures


def _set_by_lab(row: Row, name: str, field: str, new: Mapping[str, Any], origin: Row) -> Figure:
    value = told(field, new)
    return Figure(
        owner=row.owner,
        name=name,
        value=value,
        source=f"{OWN}, set when it was copied from {origin}",
        confidence=Figure.Confidence.HIGH if value else Figure.Confidence.UNKNOWN,
        field=field,
    )


def _first_source(figure: Figure) -> str:
    """Where the number came from in the beginning: a copy of a copy names it too."""
    said = figure.standing
    own = figure.source.startswith(OWN) and ": " in figure.source
    first = figure.source.split(": ", 1)[1] if own else figure.source
    if said is None:
        return first
    return f"the lab's copy of the standard, {said.note}" if said.overrides else f"{first}; {said.note}"


def _after(origin: Row) -> str:
    return f"{OWN}, after {origin}"[:160]


def _base(title: str) -> str:
    return title.partition(f"; {OWN}, after")[0]


def _code(model: type[Row], name: str) -> str:
    """A code that no row has: own-cotton-35, own-cotton-35-2."""
    base = f"own-{slugify(name)[:36]}".rstrip("-")
    taken = set(model.objects.filter(code__startswith=base).values_list("code", flat=True))
    return next(code for n in range(1, len(taken) + 2) if (code := base if n == 1 else f"{base}-{n}") not in taken)


def _check_label(origin: LaunderingProcedure | DryingProcedure, label: str) -> None:
    if not label:
        raise Refusal("Give it a name that nobody takes for the standard's.", code="label_missing", field="label")
    if type(origin).objects.filter(family=origin.family, label__iexact=label).exists():
        raise Refusal(
            f"There is a {label} of {origin.get_family_display()} already. Give the lab's own another name.",
            code="name_taken",
            field="label",
        )
