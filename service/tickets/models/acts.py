"""What is told of a ticket from the road: each act once, however often it is sent."""

from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from .tickets import Ticket


class TicketAct(models.Model):
    """One thing that was told under a key of the sender's own, with its answer. Kept for ever.

    `client_at` is when it happened by the sender's device, `server_at` when it reached us.
    """

    class Verb(models.TextChoices):
        REPORT = "report", "reported"
        TAKE = "take", "taken"
        HAND_BACK = "hand_back", "handed back"
        ON_SITE = "on_site", "at the machine"
        WAIT = "wait", "waits"
        RESUME = "resume", "goes on"
        NOTE = "note", "noted"
        PHOTO = "photo", "picture added"
        CLOSE = "close", "closed"

    ticket = models.ForeignKey(Ticket, on_delete=models.PROTECT, related_name="acts")
    verb = models.CharField(max_length=9, choices=Verb.choices)
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=200, help_text="The sender's own, new for each act.")
    digest = models.CharField(max_length=64, help_text="SHA-256 of what was sent, hex.")
    client_at = models.DateTimeField()
    server_at = models.DateTimeField()
    sent_at = models.DateTimeField(
        null=True, blank=True, help_text="By the device's clock, when it was sent."
    )
    clock_off_s = models.IntegerField(
        null=True, blank=True, help_text="The device's clock ahead of ours (+) or behind it (-)."
    )
    result = models.JSONField(default=dict, encoder=DjangoJSONEncoder)

    class Meta:
        verbose_name = "act on a ticket"
        verbose_name_plural = "acts on tickets"
        ordering = ["ticket", "client_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["actor", "key"], name="ticket_act_once_a_key")
        ]

    def __str__(self) -> str:
        return f"{self.ticket}: {self.get_verb_display()}"
