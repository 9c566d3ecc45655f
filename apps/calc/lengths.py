"""Lengths and percent readings as people type them, and back: text and unit in, exact millimetres or percent out."""

import re
from decimal import ROUND_HALF_EVEN, Decimal
from math import gcd
from typing import Final, Literal

from .errors import LengthError, PercentError
from .exact import own_context, positive
from .rounding import MINUS

Unit = Literal["mm", "cm", "in"]

# The inch is exactly 25.4 mm: NIST SP 811 (2008), appendix B.8; yard-and-pound agreement of 1959.
MILLIMETRES: Final[dict[str, Decimal]] = {"mm": Decimal(1), "cm": Decimal(10), "in": Decimal("25.4")}

_PLAIN = re.compile(r"([0-9]+)(?:([.,])([0-9]+))?")
_FRACTION = re.compile(r"(?:([0-9]+)(?: +|-))?([0-9]+)/([0-9]+)")
_PARTS = re.compile(r"([0-9]+)(?: +|-)([0-9]{1,2})\"?")
_DENOMINATORS = (2, 4, 8, 16, 32, 64)
_PERCENT = re.compile(r"([+\-\N{MINUS SIGN}\N{EN DASH}])? ?([0-9]+)(?:[.,]([0-9]+))? ?%?")
_LONGEST_TEXT = 32
_KILOMETRE = Decimal(1_000_000)
_EXAMPLE = {"mm": "243.5", "cm": "24.35", "in": "9.6 or 9 5/8"}


@own_context
def parse_length(text: str, unit: Unit) -> Decimal:
    """The length typed as `text`, read in `unit` ("mm", "cm", "in"), in millimetres: exact, above zero, at most 1 km.

    Digits are ASCII; the decimal mark is a point or a comma; spaces around are ignored. Inches may also be
    fractions ("9 5/8", "9-5/8", "3/8") and carry the inch mark. Anything else raises LengthError: signs, exponents,
    unit words, a mark without a digit on both sides (a digit was probably lost), and in mm a comma before exactly
    three digits (it may be a thousand).
    """
    factor = _factor(unit)
    if not isinstance(text, str):
        raise LengthError("A length is typed as text.", code="not_text")
    typed = text.strip()
    if not typed:
        raise LengthError("Enter the length that was read.", code="empty")
    if len(typed) > _LONGEST_TEXT:
        raise LengthError(f"That is longer than {_LONGEST_TEXT} characters. Enter one length only.", code="too_long")
    figure = typed.removesuffix('"').rstrip() if unit == "in" else typed
    length = (_fraction(figure, unit) if "/" in figure else _plain(figure, unit)) * factor
    if length == 0:
        raise LengthError("A length must be more than zero. Leave the field empty if nothing was read.", code="zero")
    if length > _KILOMETRE:
        raise LengthError(
            f'"{typed}" {unit} is more than a kilometre. Check the unit and the digits.', code="too_large"
        )
    return length


def in_parts(text: str, parts: int) -> str:
    """What is typed on a sheet of eighths or sixteenths of an inch, written out: "9 5" in eighths is "9 5/8".

    Whole inches, written fractions and the inch mark stay as they are. LengthError for more parts than an inch has, a
    fraction finer than the rule (it was not read with this one), and decimals (they are for another sheet).
    """
    if parts not in _DENOMINATORS:
        raise LengthError("A rule is divided in 2, 4, 8, 16, 32 or 64 parts of an inch.", code="fraction")
    typed = text.strip()
    match = _PARTS.fullmatch(typed)
    if match:
        whole, over = match.groups()
        if int(over) >= parts:
            raise LengthError(f"An inch has {parts} parts on this sheet, not {over}.", code="parts")
        return f"{whole} {over}/{parts}" if int(over) else whole
    figure = typed.removesuffix('"').rstrip()
    if "." in figure or "," in figure:
        raise LengthError(f"This sheet is read in parts of an inch: write 9 5 for 9 5/{parts}.", code="decimals")
    found = _FRACTION.fullmatch(figure)
    if found and int(found[3]) in _DENOMINATORS and int(found[3]) > parts:
        raise LengthError(f"This sheet is read to 1/{parts} of an inch. Choose the finer unit.", code="finer")
    return typed


@own_context
def format_length(mm: Decimal, unit: Unit, places: int | None = None) -> str:
    """`mm` millimetres in `unit`, plain digits with a decimal point and without the unit's name.

    With `places` exactly so many decimals; without, as many as it needs, at most six (enough for every 1/64 in).
    Ties go to the even digit. LengthError unless `mm` is finite and above zero and `places` lies in 0..12.
    """
    factor = _factor(unit)
    length = positive(mm, "The length", LengthError) / factor
    if places is not None and not 0 <= places <= 12:
        raise LengthError("Give between 0 and 12 decimal places.", code="places")
    step = Decimal(1).scaleb(-(6 if places is None else places))
    figure = format(length.quantize(step, rounding=ROUND_HALF_EVEN), "f")
    return figure.rstrip("0").rstrip(".") if places is None else figure


@own_context
def format_fraction(mm: Decimal, parts: int = 64) -> str:
    """`mm` in inches to the nearest 1/`parts` of an inch, in lowest terms: "9 5/8", "3/8", "10".

    Half way between two parts goes to the even one. LengthError unless `mm` is finite and above zero and `parts` is
    2, 4, 8, 16, 32 or 64, the divisions of a rule.
    """
    if isinstance(parts, bool) or parts not in _DENOMINATORS:
        raise LengthError("A rule is divided in 2, 4, 8, 16, 32 or 64 parts of an inch.", code="fraction")
    inches = positive(mm, "The length", LengthError) / MILLIMETRES["in"]
    whole, over = divmod(int((inches * parts).to_integral_value(ROUND_HALF_EVEN)), parts)
    if not over:
        return str(whole)
    fraction = f"{over // gcd(over, parts)}/{parts // gcd(over, parts)}"
    return f"{whole} {fraction}" if whole else fraction


@own_context
def format_as_typed(mm: Decimal, unit: Unit, typed: str) -> str:
    """`mm` in `unit` in the way `typed` was written: a fraction of an inch where that was one, else decimals.

    Nothing is rounded to a part of the rule: a length in inches that lies on no 1/64 is written with decimals.
    LengthError as `format_length`.
    """
    if unit == "in" and isinstance(typed, str) and "/" in typed:
        length = positive(mm, "The length", LengthError)
        if length * max(_DENOMINATORS) % MILLIMETRES["in"] == 0:
            return format_fraction(length)
    return format_length(mm, unit)


@own_context
def parse_percent(text: str, *, signed: bool = False) -> Decimal:
    """A direct reading of a shrinkage scale in percent, minus for shrinkage: "-2.5", "\u22122,5", "+1.0", "0 %".

    The decimals are kept as typed and nothing is rounded to the scale's divisions; never "-0". The mark is a point or
    a comma, which cannot be a thousand here. Without a sign it is growth, unless `signed` asks for one: at the bench a
    bare "2.5" may well mean shrinkage. PercentError (a LengthError) for anything else, and for 100 % or more either
    way: no cloth shrinks to nothing, and a point was probably lost. The reading is a pair of 100 and 100 + p.
    """
    if not isinstance(text, str):
        raise PercentError("A reading in percent is typed as text.", code="not_text")
    typed = text.strip()
    if not typed:
        raise PercentError("Enter the percentage that was read.", code="empty")
    if len(typed) > _LONGEST_TEXT:
        raise PercentError(f"That is longer than {_LONGEST_TEXT} characters. Enter one reading only.", code="too_long")
    match = _PERCENT.fullmatch(typed)
    if match is None:
        raise PercentError(f'"{typed}" is no reading in percent. Write it like {MINUS}2.5 or +1.0.')
    sign, whole, decimals = match.groups()
    size = Decimal(f"{whole}.{decimals}") if decimals else Decimal(whole)
    if size >= 100:
        raise PercentError(
            f'"{typed}" does not lie between {MINUS}100 and +100 %. Check the decimal point.', code="out_of_bounds"
        )
    if signed and not sign and size:
        raise PercentError(
            f'Is "{typed}" shrinkage or growth? Write {MINUS}{size} for shrinkage or +{size} for growth.', code="sign"
        )
    return -size if size and sign not in (None, "+") else size


def _factor(unit: str) -> Decimal:
    if not isinstance(unit, str) or unit not in MILLIMETRES:
        raise LengthError("The unit must be mm, cm or in.", code="unit")
    return MILLIMETRES[unit]


def _plain(figure: str, unit: str) -> Decimal:
    match = _PLAIN.fullmatch(figure)
    if match is None:
        if figure.startswith(("+", "-", "\N{MINUS SIGN}")):
            raise LengthError("A length has no sign. Enter the digits only.", code="sign")
        raise LengthError(f'"{figure}" is no length in {unit}. Write it like {_EXAMPLE[unit]}.')
    whole, mark, decimals = match.groups()
    if unit == "mm" and mark == "," and len(decimals) == 3:
        raise LengthError(
            f'"{figure}" mm can be read two ways. Write {whole}{decimals} or {whole}.{decimals}.', code="thousand"
        )
    return Decimal(f"{whole}.{decimals}") if mark else Decimal(whole)


def _fraction(figure: str, unit: str) -> Decimal:
    if unit != "in":
        raise LengthError(f"Fractions are for inches. Write {unit} like {_EXAMPLE[unit]}.", code="fraction_unit")
    match = _FRACTION.fullmatch(figure)
    if match is None:
        raise LengthError(f'"{figure}" is no length in inches. Write it like {_EXAMPLE[unit]}.')
    whole, over, under = (int(part or 0) for part in match.groups())
    if under not in _DENOMINATORS:
        raise LengthError(f'"{figure}": a rule is divided in 2, 4, 8, 16, 32 or 64 parts of an inch.', code="fraction")
    if not 0 < over < under:
        raise LengthError(f'"{figure}": the part above the stroke must lie between 1 and {under - 1}.', code="fraction")
    return whole + Decimal(over) / under
