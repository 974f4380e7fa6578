"""What machines report: the meaning of each code, what stands now, and what happened when."""

from django.db import models

from fleet.machines.models import Kind, Machine

from .fields import MachineTimeField, count
from .reads import AuditRead


class EventMeaning(models.Model):
    """What an event code means in plain words, and what follows; a kind may have its own."""

    class Urgency(models.TextChoices):
        NOW = "now", "now"
        SOON = "soon", "soon"
        NEXT_VISIT = "next_visit", "at the next visit"
        NONE = "none", "no work"

    class Job(models.TextChoices):
        REPAIR = "repair", "repair"
        CLEAN = "clean", "clean"
        FILL = "fill", "fill"
        CHANGE = "change", "bring change"
        COLLECT = "collect", "collect cash"
        COOLING = "cooling", "see to the cooling"
        CHECK = "check", "check"
        NONE = "none", "none"

    base = models.CharField(max_length=20, help_text="The code without its qualifier.")
    kind = models.ForeignKey(
        Kind,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="event_meanings",
        help_text="Empty: every kind without a meaning of its own.",
    )
    group = models.CharField(max_length=8)
    about = models.CharField(max_length=60)
    words = models.CharField(max_length=120)
    urgency = models.CharField(max_length=10, choices=Urgency.choices)
    job = models.CharField(max_length=8, choices=Job.choices)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["base", "kind", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["base", "kind"], name="meaning_one_a_kind", nulls_distinct=False
            )
        ]

    def __str__(self) -> str:
        return f"{self.base}: {self.words}"


class MachineEvent(models.Model):
    """One event code of one machine as it stands at the machine's latest read."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="events")
    code = models.CharField(max_length=256, help_text="As the file has it, with its qualifier.")
    base = models.CharField(max_length=256)
    qualifier = models.CharField(max_length=256, blank=True)
    is_active = models.BooleanField()
    active_since = models.ForeignKey(
        AuditRead,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The read from which on every read has it active.",
    )
    count_ever = count()
    total_minutes = count()
    last_text = models.CharField(max_length=40, blank=True, help_text="When last, as told.")
    last_at = MachineTimeField(null=True, blank=True)
    first_read = models.ForeignKey(AuditRead, on_delete=models.PROTECT, related_name="+")
    last_read = models.ForeignKey(AuditRead, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["machine", "-is_active", "code", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["machine", "code"], name="event_one_a_code"),
            models.CheckConstraint(
                condition=models.Q(is_active=True, active_since__isnull=False)
                | models.Q(is_active=False, active_since__isnull=True),
                name="event_active_since",
            ),
        ]
        indexes = [
            models.Index(
                fields=["machine"], condition=models.Q(is_active=True), name="event_active_now"
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} of {self.machine}"


class EventOccurrence(models.Model):
    """One event with its moment by the machine's own clock, told by one read or by several."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="occurrences")
    code = models.CharField(max_length=256)
    base = models.CharField(max_length=256)
    qualifier = models.CharField(max_length=256, blank=True)
    happened_text = models.CharField(max_length=40, blank=True)
    happened_at = MachineTimeField(null=True, blank=True)
    minutes = count()
    user = models.CharField(max_length=256, blank=True)
    read = models.ForeignKey(
        AuditRead,
        on_delete=models.CASCADE,
        related_name="occurrences",
        help_text="That first told.",
    )

    class Meta:
        ordering = ["machine", "-happened_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "code", "happened_text"], name="occurrence_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} at {self.happened_text} of {self.machine}"
