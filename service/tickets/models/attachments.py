"""Pictures and papers that belong to a ticket."""

from django.conf import settings
from django.db import models

from .tickets import Ticket


class Attachment(models.Model):
    """A picture, written anew without what cameras hide in it, or a PDF as it came."""

    class Kind(models.TextChoices):
        JPEG = "image/jpeg", "JPEG picture"
        PNG = "image/png", "PNG picture"
        WEBP = "image/webp", "WebP picture"
        PDF = "application/pdf", "PDF"

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="attachments")
    name = models.CharField(max_length=100)
    media_type = models.CharField(max_length=20, choices=Kind.choices)
    size = models.PositiveIntegerField(help_text="Bytes.")
    sha256 = models.CharField(max_length=64)
    raw = models.BinaryField()
    added_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when it came with a report from the public page.",
    )
    at = models.DateTimeField()

    class Meta:
        ordering = ["ticket", "at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["ticket", "sha256"], name="attachment_once_a_ticket"),
            models.CheckConstraint(condition=models.Q(size__gte=1), name="attachment_not_empty"),
        ]

    def __str__(self) -> str:
        return self.name
