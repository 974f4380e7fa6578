"""What the business sets for its service work. One row."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from people.one_row import OneRow

LIMIT_DAYS = 30
"""Refunds are limited over so many days; contacts are kept at least as long."""


def _amount(default: str, said: str) -> Any:
    return models.DecimalField(
        max_digits=12,
        decimal_places=4,
        default=Decimal(default),
        validators=[MinValueValidator(Decimal(0))],
        help_text=said,
    )


def _count(default: int, least: int, most: int, said: str) -> Any:
    return models.PositiveSmallIntegerField(
        default=default,
        validators=[MinValueValidator(least), MaxValueValidator(most)],
        help_text=said,
    )


class ServiceSettings(OneRow):
    """Labour, times and limits of service work. One row."""

    labour_per_hour = _amount("28", "Wages with all that comes on top. Assumed.")
    reopen_days = _count(
        14, 1, 120, "So long after closing the same fault counts as not mended the first time."
    )
    repeat_days = _count(
        60, 1, 366, "The same symptom at the same place within so many days is a repeat."
    )
    keep_contact_days = _count(
        90, LIMIT_DAYS, 730, "So long after the end of a ticket who reported it is kept."
    )
    refund_amount_contact = _amount(
        "15", f"Refunds to one contact in {LIMIT_DAYS} days; above it the owner decides. Assumed."
    )
    refund_times_contact = _count(3, 1, 1000, "How often, the same.")
    refund_amount_machine = _amount(
        "60", f"Refunds at one machine in {LIMIT_DAYS} days; above it the owner decides. Assumed."
    )
    refund_times_machine = _count(15, 1, 10000, "How often, the same.")
    warn_before_minutes = _count(120, 0, 2880, "Working minutes before a promise runs out.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "service settings"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="service_settings_one_row")
        ]

    def __str__(self) -> str:
        return "service settings"
