"""What a page showed, sealed into its form: it travels to the browser and back and cannot be rewritten on the way."""

from collections.abc import Sequence
from typing import Any

from django.core import signing
from django.db import models


def values_of(row: models.Model, columns: Sequence[str]) -> dict[str, Any]:
    return {name: getattr(row, name) for name in columns}


def seal(row: models.Model, columns: Sequence[str]) -> str:
    """These columns of a row as they are now, signed for this row."""
    meta = row._meta
    values = {name: _plain(meta.get_field(name).value_from_object(row)) for name in columns}
    return signing.dumps(values, salt=_salt(row))


def unseal(text: str, row: models.Model, columns: Sequence[str]) -> dict[str, Any] | None:
    """What the page showed of this row; None when the text is none of ours, or of another row."""
    try:
        values = signing.loads(text, salt=_salt(row))
        return {name: _restored(row._meta.get_field(name), values[name]) for name in columns}
    except (signing.BadSignature, KeyError, ValueError, models.ObjectDoesNotExist):
        return None


def _salt(row: models.Model) -> str:
    return f"intake.shown:{row._meta.label_lower}:{row.pk}"


def _plain(value: Any) -> Any:
    return value if value is None or isinstance(value, bool | int | str) else str(value)


def _restored(field: models.Field, value: Any) -> Any:
    if isinstance(field, models.ForeignKey):
        return field.related_model.objects.get(pk=value)
    return field.to_python(value)
