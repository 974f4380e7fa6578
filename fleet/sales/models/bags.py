"""Cash taken at a machine, under seal."""

from django.conf import settings
from django.db import models

from fleet.machines.models import Machine


class Bag(models.Model):
    """Cash taken at one visit in a numbered sealed bag. What is in it is counted later."""

    seal_number = models.CharField(max_length=40, unique=True)
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="bags")
    sealed_at = models.DateTimeField(help_text="By the clock of whoever sealed it.")
    recorded_at = models.DateTimeField()
    sealed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-sealed_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(seal_number=""), name="bag_has_a_seal")
        ]
        indexes = [models.Index(fields=["machine", "-sealed_at"], name="bag_of_machine")]

    def __str__(self) -> str:
        return f"bag {self.seal_number}"
