"""Who did what, when and why: an append-only record, chained by hashes, one chain a stream."""

from django.db import models

GENESIS = "0" * 64


class TrailStream(models.Model):
    """The head of one chain (`job:26-00147N`, `equipment:12`, `user:5`). Locked while an entry is added."""

    name = models.CharField(max_length=60, primary_key=True)
    seq = models.PositiveBigIntegerField(default=0)
    head = models.CharField(max_length=64, default=GENESIS)


class TrailEntry(models.Model):
    """One act. The actor is kept as plain values, so that no later change of a person rewrites history."""

    stream = models.CharField(max_length=60)
    seq = models.PositiveBigIntegerField()
    kind = models.CharField(max_length=60)
    at = models.DateTimeField(help_text="when it was done, as the device says")
    recorded_at = models.DateTimeField(help_text="when the house wrote it down")
    actor_id = models.BigIntegerField(null=True)
    actor_name = models.CharField(max_length=150)
    facts = models.JSONField()
    key = models.UUIDField(
        null=True, unique=True, help_text="the act's own key: the same again is answered, not repeated"
    )
    payload_sha256 = models.CharField(max_length=64, blank=True)
    prev_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            models.UniqueConstraint(name="trail_no_fork", fields=["stream", "seq"]),
            models.CheckConstraint(name="trail_seq_from_one", condition=models.Q(seq__gte=1)),
            models.CheckConstraint(
                name="trail_key_has_payload",
                condition=models.Q(key__isnull=True, payload_sha256="")
                | (models.Q(key__isnull=False) & ~models.Q(payload_sha256="")),
            ),
        ]
        ordering = ["stream", "seq"]

    def __str__(self) -> str:
        return f"{self.stream} {self.seq} {self.kind}"


class Blob(models.Model):
    """Bytes kept once, found by their SHA-256. Lists never load them."""

    sha256 = models.CharField(max_length=64, primary_key=True)
    content = models.BinaryField()
    size = models.PositiveBigIntegerField()
    content_type = models.CharField(max_length=100)
    created_at = models.DateTimeField()
