from apps.accounts.models import Lab


def load() -> None:
    """The lab has its one row of settings from the first migration on."""
    Lab.objects.get_or_create(pk=1)
