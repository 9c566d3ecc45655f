"""Reading what a page sends: the form, and the key of its act."""

from uuid import UUID

from django.http import HttpRequest, QueryDict
from django.views.decorators.http import require_http_methods

get_or_post = require_http_methods(["GET", "HEAD", "POST"])


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form is bound to; a form sent empty was sent all the same."""
    return request.POST if request.method == "POST" else None


def posted_key(request: HttpRequest) -> UUID | None:
    """The act's own key; a page without one, or with a broken one, is taken as sent once."""
    try:
        return UUID(request.POST.get("key", ""))
    except ValueError:
        return None
