"""Taps that a tablet brings by script: at once, or later when there was no connection.

The script marks them with the header X-Tap. `first`: the person stands in front of the page, and a refusal is shown
there. `late`: it waited in the tablet; what no longer fits is kept for the manager. Every other post is a plain form's.
The answer's header X-Tapped is how the tablet knows that it is the house that answers, and that the tap need not wait
any longer: it is written, refused or kept.
"""

from collections.abc import Callable
from functools import wraps
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseRedirectBase

from apps.accounts.gates import View
from apps.core import clock
from apps.core.posting import posted_key
from apps.core.tablet import is_tap, stranger, tapped_at, whose
from apps.laundering import services
from apps.laundering.queries import pieces_meant
from apps.laundering.services import Tap

OWN_FIELDS = ("csrfmiddlewaretoken", "key", "tapped_by", "tapped_at", "tapped_what", "tapped_words")


def carried(view: View) -> View:
    """An act that may be tapped without a connection and sent later."""

    @wraps(view)
    def inner(request: HttpRequest, *args, **kwargs) -> HttpResponse:
        if not is_tap(request):
            return view(request, *args, **kwargs)
        if request.user.is_authenticated and not request.user.is_staff_of_lab:
            raise PermissionDenied  # nothing of a customer's is kept for the manager
        if answer := stranger(request):
            return answer
        if request.headers["X-Tap"] == "first":
            return _answer(request, view(request, *args, **kwargs))
        if whose(request) is None:
            return _keep(request, "It cannot be proven who tapped it.", kwargs)
        return _late(view, request, *args, **kwargs)

    return inner


def _answer(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    """Where to go next, for a script that cannot see where a redirection leads."""
    if isinstance(response, HttpResponseRedirectBase):
        response = JsonResponse({"next": response.url})
    response["X-Tapped"] = "refused" if getattr(request, "refused", "") else "written"
    return response


def _late(view: Callable[..., HttpResponse], request: HttpRequest, *args, **kwargs) -> HttpResponse:
    try:
        response = view(request, *args, **kwargs)
    except Http404:
        return _keep(request, "What it was about is not there.", kwargs)
    except PermissionDenied:
        return _keep(request, "This person's roles no longer cover this step.", kwargs)
    if refused := getattr(request, "refused", ""):
        return _keep(request, refused, kwargs)
    return _answer(request, response)


def _keep(request: HttpRequest, refusal: str, kwargs: dict[str, Any]) -> HttpResponse:
    about = {name: min(value, 2**62) for name, value in kwargs.items()}
    pieces = list(pieces_meant(**about))
    at = min(tapped_at(request) or clock.now(), clock.now())
    row = services.keep_tap(
        tap=Tap(
            key=posted_key(request) or uuid4(),
            path=request.path,
            what=request.POST.get("tapped_what", ""),
            words=request.POST.get("tapped_words", ""),
            typed=[
                (name, value) for name, values in request.POST.lists() if name not in OWN_FIELDS for value in values
            ],
        ),
        piece_ids=[piece.pk for piece in pieces],
        load_id=pieces[0].load_id if pieces else None,
        refusal=refusal,
        by=request.user,
        at=at,
    )
    messages.warning(request, f"{row.what}: {row.refusal} It is kept for the manager.")
    return JsonResponse({"kept": row.refusal}, headers={"X-Tapped": "kept"})
