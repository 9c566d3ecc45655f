"""Who may. One line above each view; a test walks every address and prints the table in DEVELOPERS.md."""

from collections.abc import Callable
from functools import wraps
from urllib.parse import urlsplit

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from apps.accounts.kept import keep
from apps.accounts.models import Role

View = Callable[..., HttpResponse]


def role_required(*roles: Role) -> Callable[[View], View]:
    """Only people with one of these roles. Nobody signed in: to the sign-in page. A missing right: 403."""

    def gate(view: View) -> View:
        @wraps(view)
        def inner(request: HttpRequest, *args, **kwargs) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(reverse("accounts:kept") if keep(request) else _way_back(request))
            if not request.user.roles & set(roles):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        inner.allowed_roles = frozenset(roles)
        return inner

    return gate


def _way_back(request: HttpRequest) -> str:
    """Where to go on after signing in: the page asked for, or for a form that came too late the page it stood on."""
    if request.method in ("GET", "HEAD"):
        return request.get_full_path()
    try:
        came_from = urlsplit(request.headers.get("referer", ""))
    except ValueError:
        return "/"
    return came_from._replace(scheme="", netloc="").geturl() if came_from.netloc == request.get_host() else "/"


def open_to_all(view: View) -> View:
    """Marks a page that needs no sign-in, so that leaving the gate off is never an accident."""
    view.allowed_roles = None
    return view
