"""Who outside the service is told of tickets by webhook, and what became of each telling."""

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models


class WebhookTarget(models.Model):
    """An address outside that hears of tickets, and the secret that signs what it is told."""

    class Event(models.TextChoices):
        NEW = "ticket.new", "a new ticket"
        LATE = "ticket.late", "a ticket whose promised time is over"
        CLOSED = "ticket.closed", "a ticket closed"

    name = models.CharField(max_length=60, unique=True)
    url = models.URLField("address", max_length=500)
    secret = models.CharField(max_length=80, editable=False)
    old_secret = models.CharField(
        max_length=80, blank=True, editable=False, help_text="Signs beside the new one for a while."
    )
    old_secret_until = models.DateTimeField(null=True, blank=True, editable=False)
    events = ArrayField(models.CharField(max_length=20, choices=Event.choices))
    active = models.BooleanField("in use", default=True)
    stopped_because = models.CharField(max_length=200, blank=True, editable=False)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    events__contained_by=["ticket.new", "ticket.late", "ticket.closed"]
                )
                & models.Q(events__len__gte=1),
                name="webhook_events_known",
            ),
            models.CheckConstraint(
                condition=models.Q(old_secret="", old_secret_until__isnull=True)
                | (~models.Q(old_secret="") & models.Q(old_secret_until__isnull=False)),
                name="webhook_old_secret_ends",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class WebhookDelivery(models.Model):
    """One message for one target, sent until it is taken or given up."""

    class State(models.TextChoices):
        WAITING = "waiting", "to be sent"
        SENT = "sent", "taken"
        GIVEN_UP = "given_up", "given up"

    target = models.ForeignKey(WebhookTarget, on_delete=models.PROTECT, related_name="deliveries")
    message = models.CharField(
        max_length=40, help_text="The same for every try, so that the target knows it again."
    )
    event = models.CharField(max_length=20, choices=WebhookTarget.Event.choices)
    body = models.TextField(help_text="As it is signed and sent, JSON.")
    made_at = models.DateTimeField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    next_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    attempts = models.JSONField(
        default=list,
        blank=True,
        encoder=DjangoJSONEncoder,
        help_text="Each try: when, how long it took, what came back.",
    )
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "webhook deliveries"
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["target", "message"], name="delivery_once_a_message"),
            models.CheckConstraint(
                condition=models.Q(state="waiting", next_at__isnull=False, ended_at__isnull=True)
                | models.Q(
                    state__in=["sent", "given_up"], next_at__isnull=True, ended_at__isnull=False
                ),
                name="delivery_waits_or_ended",
            ),
        ]
        indexes = [
            models.Index(
                fields=["next_at"], condition=models.Q(state="waiting"), name="delivery_due"
            ),
            models.Index(fields=["target", "-made_at"], name="delivery_of_target"),
        ]

    def __str__(self) -> str:
        return f"{self.event} to {self.target}"
