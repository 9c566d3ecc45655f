"""What is posted, made plain values or refused in words: strict JSON, each name once, and nothing unasked."""

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from apps.api.operations import Wrong
from apps.api.services import Measured

MOST_READINGS = 200
DEEPEST_STAGE = 50
MOMENT = (
    "20[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])T([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
    r"(\.[0-9]{1,6})?(Z|[+-](0[0-9]|1[0-3]):[0-5][0-9])"
)
# The text of a reading: no control characters, and not empty when its ends are trimmed.
VALUE = r"[0-9+\-][0-9 .,/'\"%a-zA-Z\-]{0,31}"
LABEL = "[0-9A-Za-z-]{1,24}"


class BodyWrong(ValueError):
    """Where in the body, and a sentence."""

    def __init__(self, where: str, sentence: str) -> None:
        super().__init__(sentence)
        self.where = where


@dataclass(frozen=True)
class Sheet:
    readings: list[Measured]
    at: datetime | None
    confirmed: bool
    remark: str
    late_reason: str
    early_reason: str


def read_json(body: bytes) -> Any:
    try:
        return json.loads(body.decode("utf-8"), object_pairs_hook=_each_name_once, parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise BodyWrong("", "The body is not UTF-8.") from error
    except RecursionError as error:
        raise BodyWrong("", "The body is nested too deeply.") from error
    except BodyWrong:
        raise
    except ValueError as error:
        raise BodyWrong("", f"The body is not JSON: {error}"[:300]) from error


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise BodyWrong("", "The body is not JSON as it should be: a name stands twice in one object.")
    return found


def _no_constant(word: str) -> None:
    raise BodyWrong("", f"The body is not JSON: {word} is no number.")


def read_sheet(data: Any) -> Sheet:
    """The body of a send, as the document describes it."""
    text = _text(300)
    optional = {"at": _moment, "confirmed": _bool, "remark": text, "late_reason": text, "early_reason": text}
    told = _object(data, "", {"readings": _list_of_readings}, optional)
    return Sheet(
        readings=told["readings"],
        at=told.get("at"),
        confirmed=told.get("confirmed", False),
        remark=told.get("remark", ""),
        late_reason=told.get("late_reason", ""),
        early_reason=told.get("early_reason", ""),
    )


Reader = Callable[[Any], Any]


def _object(data: Any, where: str, required: dict[str, Reader], optional: dict[str, Reader]) -> dict[str, Any]:
    if not isinstance(data, dict):
        raise BodyWrong(where, "An object is asked for here.")
    if missing := sorted(set(required) - set(data)):
        raise BodyWrong(f"{where}/{missing[0]}", "This is missing.")
    readers = required | optional
    if unknown := sorted(set(data) - set(readers)):
        raise BodyWrong(where, f"Only these names stand here: {', '.join(readers)}; {len(unknown)} other is too many.")
    found = {}
    for name, value in data.items():
        try:
            found[name] = readers[name](value)
        except Wrong as wrong:
            raise BodyWrong(f"{where}/{name}", str(wrong)) from wrong
    return found


def _list_of_readings(value: Any) -> list[Measured]:
    if not isinstance(value, list) or not 1 <= len(value) <= MOST_READINGS:
        raise Wrong(f"A list of 1 to {MOST_READINGS} readings.")
    readers: dict[str, Reader] = {
        "specimen": _like(LABEL, "The label's code, such as 26-00147N-A1 and its check character."),
        "direction": _word("length", "width"),
        "pair": _whole(1, 99),
        "stage": _whole(0, DEEPEST_STAGE),
        "value": _like(VALUE, "The reading as text, such as 245.5 or 9 5/8, 32 characters at most."),
        "unit": _word("mm", "cm", "in", "pct"),
    }
    return [Measured(**_object(one, f"/readings/{place}", readers, {})) for place, one in enumerate(value)]


def _like(pattern: str, sentence: str) -> Reader:
    def read(value: Any) -> str:
        if not isinstance(value, str) or not re.fullmatch(pattern, value, re.ASCII):
            raise Wrong(sentence)
        return value

    return read


def _word(*words: str) -> Reader:
    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            raise Wrong(f"One of these: {', '.join(words)}.")
        return value

    return read


def _whole(least: int, most: int) -> Reader:
    def read(value: Any) -> int:
        # In JSON 1.0 is the same number as 1.
        if isinstance(value, float) and value.is_integer():
            value = int(value)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise Wrong(f"A whole number from {least} to {most}.")
        return value

    return read


def _bool(value: Any) -> bool:
    if not isinstance(value, bool):
        raise Wrong("true or false.")
    return value


def _text(most: int) -> Reader:
    def read(value: Any) -> str:
        if not isinstance(value, str) or len(value) > most or not _can_be_kept(value):
            raise Wrong(f"A text of {most} characters at most, without control characters.")
        return value

    return read


def _can_be_kept(text: str) -> bool:
    """Neither database keeps a NUL, nor half of a surrogate pair."""
    return not re.search(r"[\x00-\x1f\x7f\ud800-\udfff]", text)


def _moment(value: Any) -> datetime:
    try:
        if not isinstance(value, str) or not re.fullmatch(MOMENT, value, re.ASCII):
            raise ValueError
        return datetime.fromisoformat(value)
    except ValueError as error:
        raise Wrong("A moment with its zone, such as 2026-03-02T12:00:00+01:00.") from error
