"""Papers and pictures that prove something was done."""

from django.conf import settings
from django.db import models


class Evidence(models.Model):
    """A picture, written anew without what cameras hide in it, or a PDF as it came; kept for good.

    The same file is kept once, whatever it proves.
    """

    class Kind(models.TextChoices):
        JPEG = "image/jpeg", "JPEG picture"
        PNG = "image/png", "PNG picture"
        WEBP = "image/webp", "WebP picture"
        PDF = "application/pdf", "PDF"

    name = models.CharField(max_length=100)
    media_type = models.CharField(max_length=20, choices=Kind.choices)
    size = models.PositiveIntegerField(help_text="Bytes.")
    sha256 = models.CharField(max_length=64, unique=True)
    raw = models.BinaryField()
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "evidence"
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(size__gte=1), name="evidence_not_empty")
        ]

    def __str__(self) -> str:
        return self.name
