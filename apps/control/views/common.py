from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, QueryDict

from apps.control.forms import ActForm
from apps.core import clock
from apps.core.errors import Refusal


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form is bound to; a form sent empty was sent all the same."""
    return request.POST if request.method == "POST" else None


def act(request: HttpRequest, form: ActForm, service: Callable[..., Any], **given: Any) -> Any:
    """Do it in this person's name; what is refused stands beside its field, and nothing comes back."""
    try:
        key = UUID(request.POST.get("key", ""))
    except ValueError:
        key = None  # a page without one, or with a broken one, is taken as sent once
    try:
        return service(**given, by=request.user, at=clock.now(), key=key)
    except Refusal as refusal:
        form.put_beside(refusal)
        return None
