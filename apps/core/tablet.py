"""What a page that keeps unsent work in the browser tells its script, and what that work brings along when it comes.

The script marks what it sends with the header X-Tap. The answer's header X-Tapped is how it knows that the house itself
answers, and that the work need not wait any longer.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from functools import wraps
from typing import Any

from django.core import signing
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse

from apps.core import clock

SALT = "laundering.tap"


def tablet(request: HttpRequest) -> dict[str, Any]:
    """Whose page it is, proven, and what the house's clock says."""
    return {
        "person": request.user.pk,
        "token": signing.dumps(request.user.pk, salt=SALT),
        "now": int(clock.now().timestamp() * 1000),
    }


def whose(request: HttpRequest) -> int | None:
    """The person whose page was tapped; None when that cannot be told."""
    try:
        return signing.loads(request.POST.get("tapped_by", ""), salt=SALT)
    except signing.BadSignature:
        return None


def stranger(request: HttpRequest) -> JsonResponse | None:
    """What waits in the browser goes on waiting: nobody, or somebody else, is signed in now."""
    if not request.user.is_authenticated:
        return JsonResponse({"told": "Your sign-in has ended."}, status=401)
    if whose(request) not in (request.user.pk, None):
        return JsonResponse({"told": "Somebody else is signed in now."}, status=409)
    return None


def is_tap(request: HttpRequest) -> bool:
    return request.method == "POST" and request.headers.get("X-Tap") in ("first", "late")


def tapped_at(request: HttpRequest) -> datetime | None:
    """When the tablet was tapped, if it says so: milliseconds on the house's own clock, as the tablet reckons it."""
    text = request.POST.get("tapped_at", "")
    try:
        return datetime.fromtimestamp(int(text) / 1000, UTC) if text.isascii() and text.isdigit() else None
    except (ValueError, OverflowError, OSError):
        return None


def moment(request: HttpRequest) -> datetime:
    """When it was tapped, else now. A tablet a little ahead is not let into the future, or the next step would come
    before this one."""
    now = clock.now()
    tapped = tapped_at(request) or now
    return now if now < tapped <= now + clock.SKEW else tapped


def answers_taps(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view that also takes what waited in the browser: whatever it cannot take is refused in words, for good."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not is_tap(request):
            return view(request, *args, **kwargs)
        if answer := stranger(request):
            return answer
        if whose(request) is None:
            return refused("It cannot be proven who typed it.")
        try:
            return view(request, *args, **kwargs)
        except Http404:
            return refused("What it was about is not there.")
        except PermissionDenied:
            return refused("Your roles do not cover this step.")

    return inner


def written(**told: Any) -> JsonResponse:
    return JsonResponse(told, headers={"X-Tapped": "written"})


def refused(sentence: str, **told: Any) -> JsonResponse:
    return JsonResponse({"told": sentence, **told}, status=422, headers={"X-Tapped": "refused"})
