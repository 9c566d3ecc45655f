"""Check characters for job numbers and label codes: ISO 7064 MOD 37,36 (digits and capital letters).

A check character catches a slip of the finger, nothing more: whether the code exists is asked elsewhere.
"""

from stdnum.iso7064 import mod_37_36

from .errors import NumberingError

_LONGEST = 100


def check_char(text: str) -> str:
    """The check character over `text`: "2600147" gives "N", so the job's number is 26-00147N.

    Hyphens and spaces are ignored, small letters count as capitals. NumberingError for no characters at all, any
    other than ASCII letters and digits, or more than 100.
    """
    return mod_37_36.calc_check_digit(_bare(text))


def is_valid(code: str) -> bool:
    """Whether the last character of `code` is the check character over the rest; False for anything that is no code.

    Every change of a single character is caught (ISO 7064); nearly every swap of two neighbours.
    """
    try:
        bare = _bare(code)
    except NumberingError:
        return False
    return len(bare) > 1 and mod_37_36.is_valid(bare)


def _bare(text: str) -> str:
    bare = text.replace("-", "").replace(" ", "") if isinstance(text, str) else ""
    if not bare or len(bare) > _LONGEST or not (bare.isascii() and bare.isalnum()):
        raise NumberingError("A code is made of letters A to Z and digits, with hyphens or spaces between.")
    return bare.upper()
