"""What the database itself says about the trail: it only grows."""

from apps.trail.guarding import insert_only, never_deleted
from apps.trail.models import Blob, TrailEntry, TrailStream

GUARDS = [
    *insert_only(TrailEntry, sentence="the trail only grows"),
    *insert_only(Blob, sentence="stored bytes stay as they are"),
    *never_deleted(TrailStream, sentence="the trail only grows"),
]
