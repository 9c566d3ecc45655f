from collections.abc import Callable

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from apps.core import clock
from apps.core.act_form import ReasonForm
from apps.core.errors import Refusal
from apps.core.posting import posted, posted_key


def posted_number(request: HttpRequest, name: str) -> int:
    """What the page says it showed. Anything else than a small whole number is no page of ours: 0, which is stale."""
    text = request.POST.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else 0


def void_page(
    request: HttpRequest, *, act: Callable[..., object], what: str, effect: str, back: str, crumb: str
) -> HttpResponse:
    """Ask why, and make a record void. `back`: the address to go to; `crumb`: its name."""
    form = ReasonForm(posted(request))
    if form.is_valid():
        try:
            act(reason=form.cleaned_data["reason"], by=request.user, at=clock.now(), key=posted_key(request))
        except Refusal as refusal:
            form.put_beside(refusal)
        else:
            messages.success(request, f"{what} is void.")
            return redirect(back)
    context = {"form": form, "what": what, "effect": effect, "back": back, "crumb": crumb}
    return render(request, "equipment/void.html", context)
