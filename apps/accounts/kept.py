"""A form that came when the session had ended: what was typed waits in the browser's session until one is in again."""

from django.http import HttpRequest, QueryDict

KEPT = "kept_form"
MOST = 400_000  # characters; a sheet of a hundred samples is less


def keep(request: HttpRequest) -> bool:
    """Keep the fields of this post; not files, and no password. Whether there is something to come back to."""
    if request.method != "POST" or request.headers.get("HX-Request") or request.FILES:
        return False
    fields = request.POST.copy()
    for name in list(fields):
        if name == "csrfmiddlewaretoken" or "password" in name:
            del fields[name]
    text = fields.urlencode()
    if not fields or len(text) > MOST:
        return False
    request.session[KEPT] = {"path": request.get_full_path(), "fields": text}
    return True


def kept(request: HttpRequest) -> tuple[str, list[tuple[str, str]]] | None:
    """Where it was going, and its fields one by one."""
    found = request.session.get(KEPT)
    if found is None:
        return None
    fields = QueryDict(found["fields"])
    return found["path"], [(name, value) for name, values in fields.lists() for value in values]


def let_go(request: HttpRequest) -> None:
    request.session.pop(KEPT, None)
