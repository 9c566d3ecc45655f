from apps.accounts.models import Lab


def the_lab() -> Lab:
    return Lab.objects.get(pk=1)
