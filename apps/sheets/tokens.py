"""Results carried by the page itself: signed, so that a download says what was calculated here, and nothing is kept."""

from typing import TYPE_CHECKING, Any

from django.core import signing

from apps.core.errors import Refusal

if TYPE_CHECKING:
    from apps.sheets.results import Results

SALT = "sheets.results"
MOST = 2_500_000  # characters: what a form may carry
HOURS = 24


def pack(results: "Results", name: str) -> str:
    """The results of a sheet called `name` as one text; nothing when they are too long for a page to carry."""
    asked = results.asked
    told: list[Any] = [name, asked.averaging, asked.tie, f"{asked.step:f}", results.columns, results.notes]
    flags = [[place, *flags] for place, flags in results.flags.items()]
    token = signing.dumps([*told, results.curve, flags], salt=SALT, compress=True)
    return token if len(token) <= MOST else ""


def unpack(token: str) -> tuple["Results", str]:
    """The results and the name of their sheet. Refusal for what was not packed here today."""
    from apps.sheets.figures import Asked
    from apps.sheets.results import Results

    try:
        told = signing.loads(token, salt=SALT, max_age=HOURS * 3600)
    except signing.BadSignature as fault:
        raise Refusal("These results are a day old or incomplete. Choose the sheet again.", code="token") from fault
    name, averaging, tie, step, columns, notes, curve, flags = told
    told_flags = {place: tuple(sentences) for place, *sentences in flags}
    return Results(Asked.of(averaging, tie, step), tuple(columns), notes, curve, told_flags), name
