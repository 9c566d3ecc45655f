"""How a password is kept."""

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from apps.accounts.models import User
from apps.core.errors import Refusal


def hashed(password: str, user: User) -> str:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise Refusal(" ".join(error.messages), code="weak_password", field="password") from error
    return make_password(password)
