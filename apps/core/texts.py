"""Lines of text as they go into the book: names, reasons, notes."""

import unicodedata

from apps.core.errors import Refusal

# Signs that turn the direction of what follows: a name with one in it reads otherwise than it is written.
TURNING = {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A))}


def line(text: str | None, *, most: int, field: str | None = None, what: str = "The text") -> str:
    """Spaces in a row are one; a sign that cannot be written down, or more than the book has room for, is refused."""
    text = " ".join((text or "").split())
    if len(text) > most:
        raise Refusal(f"{what}: {most} characters at most, {len(text)} typed.", code="too_long", field=field)
    if any(sign in TURNING or unicodedata.category(sign) in ("Cc", "Cs") for sign in text):
        raise Refusal(f"{what} holds a sign that cannot be written down.", code="not_text", field=field)
    return text


def lines(text: str | None, *, most: int, field: str | None = None, what: str = "The text") -> str:
    """Several lines, such as an address; each as `line` has it, none of them empty at the end."""
    kept = [line(part, most=most, field=field, what=what) for part in (text or "").splitlines()]
    whole = "\n".join(kept).strip()
    if len(whole) > most:
        raise Refusal(f"{what}: {most} characters at most, {len(whole)} typed.", code="too_long", field=field)
    return whole
