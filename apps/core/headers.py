"""What every answer says about itself, beyond what Django and the security policy say already."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_cache_control


def private(get_response: Callable[[HttpRequest], HttpResponse]) -> Callable[[HttpRequest], HttpResponse]:
    """Pages and files are this person's: nobody else's cache keeps them, and the browser's asks before it shows them.

    Not `no-store`: with it a browser forgets what was typed when one goes back to a page.
    """

    def middleware(request: HttpRequest) -> HttpResponse:
        response = get_response(request)
        if "Cache-Control" not in response:
            patch_cache_control(response, private=True, no_cache=True)
        return response

    return middleware
