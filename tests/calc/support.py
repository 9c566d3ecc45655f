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
