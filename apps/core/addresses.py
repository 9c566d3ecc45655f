"""Where a request came from: for what counts tries."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str | None:
    """The address that the outermost of our own proxies saw. What stands left of it the caller may have made up."""
    seen = request.META.get("REMOTE_ADDR", "")
    if settings.PROXIES:
        told = [part.strip() for part in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",") if part.strip()]
        if len(told) >= settings.PROXIES:
            seen = told[-settings.PROXIES]
    try:
        return str(ip_address(seen))
    except ValueError:
        return None
