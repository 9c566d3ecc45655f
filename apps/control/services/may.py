"""Who may do what in this room."""

from apps.accounts.models import Role, User
from apps.core.errors import Refusal


def only_a_manager(by: User) -> None:
    if Role.MANAGER not in by.roles:
        raise Refusal("Only a lab manager does this.", code="not_manager")
