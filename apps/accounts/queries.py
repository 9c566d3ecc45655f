import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, QuerySet

from apps.accounts.models import Customer, Lab, Token, User
from apps.core.jsontext import sha256

TOKEN = re.compile(r"fulling_[0-9A-Za-z_-]{43}", re.ASCII)


def the_lab() -> Lab:
    return Lab.objects.get(pk=1)


def people() -> QuerySet[User]:
    """Everybody who may or might sign in, those who may first."""
    return User.objects.select_related("customer").order_by("-is_active", "full_name", "pk")


def folded(name: str) -> str:
    """A name as it is compared: spaces in a row count as one, capitals as small letters."""
    return " ".join(name.split()).casefold()


def find_customer(name: str) -> Customer | None:
    """The customer of this very name, however its capitals are typed."""
    # Compared here: SQLite folds only the capitals of ASCII.
    wanted = folded(name)
    found = next((pk for pk, known in Customer.objects.values_list("pk", "name") if folded(known) == wanted), None)
    return None if found is None else Customer.objects.get(pk=found)


def search_customers(part: str) -> QuerySet[Customer]:
    """Customers whose name holds this part."""
    wanted = folded(part)
    if not wanted:
        return Customer.objects.all()
    return Customer.objects.filter(
        pk__in=[pk for pk, known in Customer.objects.values_list("pk", "name") if wanted in folded(known)]
    )


@dataclass(frozen=True)
class TokenRow:
    """A token and whether it holds, as a state's code and its word."""

    token: Token
    state: str
    word: str

    @property
    def holds(self) -> bool:
        return self.state == "active"


def tokens_of(person: User) -> QuerySet[Token]:
    """Those not ended first, the newest first."""
    return Token.objects.filter(person=person).order_by(F("ended_at").desc(nulls_first=True), "-made_at", "-pk")


def standing_tokens(person: User) -> list[str]:
    """What the programs are called that come in as this person."""
    return list(Token.objects.filter(person=person, ended_at=None).order_by("name").values_list("name", flat=True))


def token_rows(tokens: Iterable[Token], *, today: date) -> list[TokenRow]:
    return [TokenRow(token, *_standing(token, today)) for token in tokens]


def _standing(token: Token, today: date) -> tuple[str, str]:
    if token.ended_at is not None:
        return "inactive", "ended"
    return ("active", "holds") if today <= token.ends_on else ("inactive", "ran out")


def token_in_force(text: str, *, today: date) -> Token | None:
    """The token of this text with its person; None when it is unknown, ended, past its last day, or its person may no
    longer sign in."""
    if not TOKEN.fullmatch(text):
        return None
    rows = Token.objects.filter(sha256=sha256(text), ended_at=None, ends_on__gte=today, person__is_active=True)
    return rows.select_related("person").first()
