"""The lock of this room: the row of the catalogue, before the trail."""

from apps.core.errors import Refusal
from apps.methods.queries import MODELS, Catalogued


def lock_row(owner: str) -> Catalogued | None:
    """Hold a row of the catalogue until the transaction ends. None for figures that belong to no row.

    FOR UPDATE, the strongest: the first request that names an edition asks for its key when it is committed, and waits
    here, so that no number is set behind a request that was not yet to be seen.
    """
    prefix, _, code = owner.partition(":")
    model = next((model for model in MODELS if prefix == model.OWNER), None)
    if model is None:
        return None
    row = model.objects.select_for_update().filter(code=code).first()
    if row is None:
        raise Refusal("There is no such row in the catalogue any more.", code="not_there")
    return row
