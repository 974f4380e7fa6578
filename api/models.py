"""What the API remembers by itself: the outcome of writes that may be sent twice."""

from django.conf import settings
from django.db import models


class IdempotencyKey(models.Model):
    """One write that a client marked with a key, and the answer it got.

    The row is committed with the write, so there is never one without the other.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="idempotency_keys"
    )
    method = models.CharField(max_length=6)
    path = models.CharField(max_length=300)
    key = models.CharField(max_length=200)
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of path, type and body.")
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.BinaryField()
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()

    class Meta:
        ordering = ["-created_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "method", "path", "key"], name="idempotency_key_once"
            )
        ]
        indexes = [models.Index(fields=["expires_at"], name="idempotency_key_expiry")]

    def __str__(self) -> str:
        return f"{self.method} {self.path} {self.key}"
