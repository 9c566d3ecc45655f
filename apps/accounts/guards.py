"""What the database itself says about tokens: whose and until when is said once, and what is ended stays ended."""

from apps.accounts.models import Token
from apps.trail.guarding import Guard, frozen_columns, never_deleted, write_once

_TABLE = Token._meta.db_table

GUARDS = [
    *never_deleted(Token, sentence="a token is ended, not deleted"),
    write_once(
        Token, "person_id", "name", "sha256", "made_at", "ends_on", sentence="a token stays as it was made; end it"
    ),
    Guard(
        f"{_TABLE}_ended",
        _TABLE,
        "update",
        f'OLD."ended_at" IS NOT NULL AND {frozen_columns("ended_at", "ended_by_id")}',
        "a token that is ended stays ended",
    ),
]
