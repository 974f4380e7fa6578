"""What a person decided where a device's counters start afresh."""

from django.conf import settings
from django.db import models

from fleet.machines.models import Machine

from .reads import AuditRead


class EpochDecision(models.Model):
    """How one device's counters are taken where it was seen to start afresh between two reads.

    Reads that come in between the two later do not undo it.
    """

    class Choice(models.TextChoices):
        COUNT_FROM_ZERO = "count_from_zero", "new: count all it shows as sold since the read before"
        LEAVE_OUT = "leave_out", "leave it out for this interval"
        CARRY_ON = "carry_on", "the same after all: carry on"

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="+")
    from_read = models.ForeignKey(AuditRead, on_delete=models.CASCADE, related_name="+")
    to_read = models.ForeignKey(AuditRead, on_delete=models.CASCADE, related_name="+")
    device = models.CharField(max_length=20)
    choice = models.CharField(max_length=16, choices=Choice.choices)
    reason = models.CharField(max_length=300)
    decided_at = models.DateTimeField()
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["machine", "to_read", "device", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["from_read", "to_read", "device"], name="decision_one_a_device"
            ),
            models.CheckConstraint(condition=~models.Q(reason=""), name="decision_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.device} at {self.to_read}: {self.get_choice_display()}"
