"""The door for programs: a token instead of a session, JSON instead of pages, for errors too."""

import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.cache import cache
from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from apps.accounts import services as accounts
from apps.accounts.models import Token
from apps.accounts.queries import token_in_force
from apps.api.bodies import BodyWrong
from apps.api.operations import JSON, KEY_HEADER, LARGEST, OPERATIONS, Operation, Wrong
from apps.api.services import SendRefused
from apps.calc.errors import CalcError
from apps.core import clock
from apps.core.errors import KeyReused, Refusal
from apps.core.jsontext import plain

MOST_A_MINUTE = 600
View = Callable[..., HttpResponse]


class Problem(Exception):
    """An answer that is no success."""

    def __init__(
        self,
        status: int,
        code: str,
        sentence: str,
        *,
        field: str | None = None,
        each: list[tuple[str, str]] | None = None,
        headers: dict[str, str] | None = None,
    ) -> None:
        super().__init__(sentence)
        self.status, self.headers = status, headers or {}
        self.error: dict[str, Any] = {"code": code, "sentence": sentence, "field": field}
        if each:
            self.error["each"] = [{"field": where, "sentence": told} for where, told in each]

    @property
    def answer(self) -> HttpResponse:
        return answer({"error": self.error}, status=self.status, headers=self.headers)


def answer(data: Any, *, status: int = 200, headers: dict[str, str] | None = None) -> HttpResponse:
    text = json.dumps(plain(data), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return HttpResponse(text, content_type=JSON, status=status, headers=headers)


def operation(name: str) -> Callable[[View], View]:
    """A view of this operation. It gets the person as `request.user`, the token, and the filters asked for, by name.

    The session is not looked at: a browser's cookie opens nothing here, and no other page can send with it.
    """
    asked = OPERATIONS[name]

    def gate(view: View) -> View:
        @csrf_exempt
        @wraps(view)
        def inner(request: HttpRequest, **kwargs: str) -> HttpResponse:
            try:
                if request.method not in asked.methods:
                    allow = {"Allow": ", ".join(asked.methods)}
                    raise Problem(405, "method", f"This address answers to {allow['Allow']}.", headers=allow)
                request.token = enter(request, asked)
                request.user = request.token.person
                return view(request, **kwargs, **filters(request, asked))
            except Problem as problem:
                return problem.answer
            except Http404:
                return not_found().answer
            except (Refusal, CalcError, BodyWrong, RequestDataTooBig) as refusal:
                return told(refusal).answer

        inner.allowed_roles = asked.roles
        inner.by_token = True
        return inner

    return gate


def enter(request: HttpRequest, asked: Operation) -> Token:
    """The token that was sent, its person having the right."""
    now = clock.now()
    scheme, _, text = request.headers.get("Authorization", "").partition(" ")
    token = token_in_force(text, today=timezone.localdate(now)) if scheme.lower() == "bearer" else None
    if token is None:
        why = ', error="invalid_token"' if text else ""
        sentence = "This token is unknown, ended or past its last day." if text else "A token is needed."
        headers = {"WWW-Authenticate": f'Bearer realm="Fulling Room"{why}'}
        raise Problem(401, "token", sentence, field="Authorization", headers=headers)
    if _too_often(token, f"{now:%H%M}"):
        sentence = f"More than {MOST_A_MINUTE} in a minute are too many. Come back in the next."
        raise Problem(429, "too_often", sentence, headers={"Retry-After": str(60 - now.second)})
    accounts.note_use(token=token, at=now)
    if not token.person.roles & asked.roles:
        raise Problem(403, "right", f"This is for: {asked.who}.")
    return token


def _too_often(token: Token, minute: str) -> bool:
    """Counted by each process for itself: a brake for a program that runs wild, not an account."""
    name = f"api:{token.sha256}:{minute}"
    cache.add(name, 0, 90)
    try:
        return cache.incr(name) > MOST_A_MINUTE
    except ValueError:
        return False


def filters(request: HttpRequest, asked: Operation) -> dict[str, Any]:
    """What the address asks for. A name unknown, or given twice, is refused: it would be passed over otherwise."""
    known = {parameter.name: parameter for parameter in asked.parameters}
    for name, values in request.GET.lists():
        if name not in known:
            told = ", ".join(known) or "none"
            raise Problem(422, "unknown_parameter", f"This address knows these parameters: {told}.", field=name[:80])
        if len(values) > 1:
            raise Problem(422, "twice", "This parameter is given twice.", field=name)
    found = {}
    for parameter in known.values():
        try:
            text = request.GET.get(parameter.name)
            found[parameter.name] = parameter.default if text is None else parameter.read(text)
        except Wrong as wrong:
            raise Problem(422, "parameter", str(wrong), field=parameter.name) from wrong
    return found


def told(refusal: Exception) -> Problem:
    if isinstance(refusal, SendRefused):
        return Problem(422, refusal.code, str(refusal), field=refusal.field, each=refusal.each)
    if isinstance(refusal, KeyReused):
        sentence = "This key was sent before with something else, or by somebody else. Make a new one for each send."
        return Problem(409, refusal.code, sentence, field=KEY_HEADER)
    if isinstance(refusal, Refusal):
        return Problem(422, refusal.code, str(refusal), field=refusal.field)
    if isinstance(refusal, BodyWrong):
        return Problem(422, "body", str(refusal), field=refusal.where)
    if isinstance(refusal, RequestDataTooBig):
        return Problem(413, "too_large", f"A body has {LARGEST // 1024} KiB at most.")
    return Problem(422, getattr(refusal, "code", "refused"), str(refusal))


def not_found(sentence: str = "It is not there, or not for you.") -> Problem:
    return Problem(404, "not_found", sentence)
