"""Text in a table for a spreadsheet."""

# A spreadsheet takes a text that begins so for a formula, the wide forms of some scripts too.
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def harmless(value: str) -> str:
    """Text that no spreadsheet takes for a formula, without signs that cannot be seen."""
    text = "".join(sign for sign in value if sign.isprintable())
    return f"'{text}" if text.startswith(FORMULA) else text
