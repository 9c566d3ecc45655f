from collections.abc import Callable
from typing import Any

from django.http import HttpRequest

from apps.core import clock
from apps.core.act_form import ActForm
from apps.core.errors import Refusal
from apps.core.posting import posted_key


def act(request: HttpRequest, form: ActForm, service: Callable[..., Any], **given: Any) -> Any:
    """Do it in this person's name; what is refused stands beside its field, and nothing comes back."""
    try:
        return service(**given, by=request.user, at=clock.now(), key=posted_key(request))
    except Refusal as refusal:
        form.put_beside(refusal)
        return None
