"""How long cash may wait at each step of its way to the bank."""

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q

from people.one_row import OneRow


def _days(days: int, said: str) -> models.PositiveSmallIntegerField:
    return models.PositiveSmallIntegerField(
        default=days, validators=[MaxValueValidator(60)], help_text=f"{said} Assumed at first."
    )


class CashLimits(OneRow):
    """Days after which cash that has not gone on is late, step by step. One row.

    What is missing, or confirmed by the bank with another amount, is late at once.
    """

    to_receive_days = _days(2, "From the seal until a bag is received.")
    to_count_days = _days(3, "From receiving a bag until it is counted.")
    opened_days = _days(1, "From opening a bag until it is counted.")
    to_bank_days = _days(7, "From counting a bag until it is banked.")
    to_confirm_days = _days(7, "From banking until the bank confirms.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "limits of cash that waits"
        verbose_name_plural = "limits of cash that waits"
        constraints = [models.CheckConstraint(condition=Q(pk=1), name="cash_limits_are_one_row")]

    def __str__(self) -> str:
        return "how long cash may wait"
