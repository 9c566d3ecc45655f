from django.http import HttpRequest

from apps.accounts.queries import the_lab


def house(request: HttpRequest) -> dict:
    """What every page shows: the lab's name."""
    return {"lab": the_lab()}
