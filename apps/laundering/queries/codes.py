"""The code of a load, as its label carries it."""

import re

from apps.calc.numbering import check_char, is_valid

LOAD = re.compile(r"L(?:OAD)?0*([1-9][0-9]{0,8})([0-9A-Z]?)")


def load_code(number: int) -> str:
    """L-12 and the check character over both."""
    return f"L-{number}{check_char(f'L{number}')}"


def load_numbers(code: str) -> list[int]:
    """The loads that a bare code may mean: first the one its check character belongs to, then the plain number.

    "L12" is load 12, or load 1 when 2 happens to be its check character.
    """
    found = LOAD.fullmatch(code)
    if not found:
        return []
    digits, last = found.groups()
    means = []
    if last and is_valid(f"L{digits}{last}"):
        means.append(int(digits))
    elif not last:
        if len(digits) > 1 and is_valid(f"L{digits}"):
            means.append(int(digits[:-1]))
        means.append(int(digits))
    return means
