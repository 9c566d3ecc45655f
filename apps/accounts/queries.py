from django.db.models import QuerySet

from apps.accounts.models import Customer, Lab, User


def the_lab() -> Lab:
    return Lab.objects.get(pk=1)


def people() -> QuerySet[User]:
    """Everybody who may or might sign in, those who may first."""
    return User.objects.select_related("customer").order_by("-is_active", "full_name", "pk")


def folded(name: str) -> str:
    """A name as it is compared: spaces in a row count as one, capitals as small letters."""
    return " ".join(name.split()).casefold()


def find_customer(name: str) -> Customer | None:
    """The customer of this very name, however its capitals are typed."""
    # Compared here: SQLite folds only the capitals of ASCII.
    wanted = folded(name)
    found = next((pk for pk, known in Customer.objects.values_list("pk", "name") if folded(known) == wanted), None)
    return None if found is None else Customer.objects.get(pk=found)


def search_customers(part: str) -> QuerySet[Customer]:
    """Customers whose name holds this part."""
    wanted = folded(part)
    if not wanted:
        return Customer.objects.all()
    return Customer.objects.filter(
        pk__in=[pk for pk, known in Customer.objects.values_list("pk", "name") if wanted in folded(known)]
    )
