"""What the tests of the numbers share."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from apps.calc.errors import CalcError

DATA = Path(__file__).parent / "data"

steady = settings(derandomize=True, deadline=None, max_examples=150)


def published(name: str) -> Any:
    """One file of published figures; each names its source inside."""
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


def refusal(call: Callable[..., Any], *args: Any, **kwargs: Any) -> CalcError:
    """The CalcError that the call must raise, checked to be a sentence a person can read."""
    with pytest.raises(CalcError) as caught:
        call(*args, **kwargs)
    sentence = str(caught.value)
    assert sentence == caught.value.sentence
    assert sentence.endswith((".", "?"))
    assert " " in sentence
    assert "Decimal(" not in sentence
    assert "decimal." not in sentence
    return caught.value


def pi_digits(count):
    """The first digits of pi by Machin's formula, in whole numbers."""
    unity = 10 ** (count + 10)

    def arctan(n):
        power = total = unity // n
        k, sign = 3, -1
        while power:
            power //= n * n
            total += sign * (power // k)
            k, sign = k + 2, -sign
        return total

    # In two halves: Python refuses to print a whole number of more than 4300 digits.
    top, rest = divmod(4 * (4 * arctan(5) - arctan(239)), 10 ** (count // 2))
    return [int(c) for c in (str(top) + str(rest).zfill(count // 2))[:count]]
