"""A link by letter, to choose one's own password: for who is new, and for who forgot it."""

from datetime import datetime, timedelta

from axes.utils import reset
from django.contrib.auth.tokens import default_token_generator
from django.db import transaction
from django.db.models import Q
from django.utils.encoding import force_bytes
from django.utils.http import urlsafe_base64_decode, urlsafe_base64_encode

from apps.accounts.models import User
from apps.accounts.services.letters import send_later
from apps.accounts.services.passwords import hashed
from apps.accounts.services.tokens import end_tokens_of
from apps.core.clock import SKEW
from apps.core.errors import Refusal
from apps.core.links import whole
from apps.trail import services as trail
from apps.trail.models import TrailEntry

HOLDS = "The link holds for three days and for one use."
MOST_IN_AN_HOUR = 3
ASKED = "password.link_asked"


def _link(user: User) -> str:
    name = urlsafe_base64_encode(force_bytes(user.pk))
    return whole("accounts:choose_password", name, default_token_generator.make_token(user))


@transaction.atomic
def invite(*, person_id: int, by: User, at: datetime) -> User:
    """Somebody gets a letter with a link to choose a password; what was the password until then goes on."""
    user = User.objects.select_for_update().get(pk=person_id)
    if not user.is_active:
        raise Refusal(f"{user.full_name} may not sign in. Allow it first.", code="inactive")
    if not user.email:
        raise Refusal("An invitation goes by e-mail. Write down an address first.", code="no_email", field="email")
    body = (
        f"{user.full_name},\n\n{by.full_name} invites you to Fulling Room. Your user name is {user.username}.\n\n"
        f"Choose your password here:\n{_link(user)}\n\n{HOLDS}"
    )
    send_later(to=user.email, subject="Your way into Fulling Room", body=body, at=at)
    trail.record(stream=f"user:{user.pk}", kind="person.invited", by=by, at=at, facts={"to": user.email})
    return user


@transaction.atomic
def ask_for_link(*, name: str, at: datetime) -> None:
    """Somebody forgot the password and typed a user name or an e-mail address.

    The page says the same whether anybody was found. Nobody gets more than a few letters an hour.
    """
    known = User.objects.filter(Q(username=name) | Q(email__iexact=name), is_active=True).exclude(email="")
    people = list(known.select_for_update().order_by("pk")[:5])
    for user in people:
        recent = TrailEntry.objects.filter(
            stream=f"user:{user.pk}", kind=ASKED, recorded_at__range=(at - timedelta(hours=1), at + SKEW)
        )
        if recent.count() >= MOST_IN_AN_HOUR:
            continue
        body = (
            f"{user.full_name},\n\nsomebody asked for a new password for {user.username}. If it was not you, "
            f"do nothing: the old one goes on.\n\nChoose a new password here:\n{_link(user)}\n\n{HOLDS}"
        )
        send_later(to=user.email, subject="A new password for Fulling Room", body=body, at=at)
        trail.record(stream=f"user:{user.pk}", kind=ASKED, by=None, at=at, facts={"to": user.email})
    if not people:
        # As much is written for a name that nobody has, which is not kept: it may be anything.
        trail.record(stream="sign-in", kind=ASKED, by=None, at=at, facts={"known": False})


def person_of_link(name: str, token: str) -> User | None:
    """Whose link this is; nobody's when it is used, too old or not ours."""
    try:
        user = User.objects.get(pk=int(urlsafe_base64_decode(name)), is_active=True)
    except (ValueError, OverflowError, User.DoesNotExist):
        return None
    return user if default_token_generator.check_token(user, token) else None


def choose_password(*, name: str, token: str, password: str, end_tokens: bool = False, at: datetime) -> User:
    """Somebody chooses a password by the link of a letter; the link is used up and other sign-ins end.

    `end_tokens`: the programs that come in as this person are shut out too.
    """
    gone = Refusal("This link was used already or is too old. Ask for a new one.", code="link_gone")
    user = person_of_link(name, token)
    if user is None:
        raise gone
    chosen = hashed(password, user)
    with transaction.atomic():
        user = User.objects.select_for_update().get(pk=user.pk)
        if person_of_link(name, token) is None:
            raise gone
        user.password = chosen
        user.save(update_fields=["password"])
        trail.record(
            stream=f"user:{user.pk}", kind="password.set", by=user, at=at, facts={"own": True, "by_letter": True}
        )
        if end_tokens:
            end_tokens_of(person=user, by=user, at=at)
        reset(username=user.username)  # whoever was locked out may come in with the new one
    return user
