"""From where on the watch says something, and what follows by itself."""

from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.machines.models.fields import money
from people.one_row import OneRow

from .findings import Finding


def _part(default: str, least: str, most: str, *, said: str) -> Any:
    return models.DecimalField(
        max_digits=6,
        decimal_places=4,
        default=Decimal(default),
        validators=[MinValueValidator(Decimal(least)), MaxValueValidator(Decimal(most))],
        help_text=said,
    )


def _whole(default: int, least: int, most: int, *, said: str) -> Any:
    return models.PositiveSmallIntegerField(
        default=default,
        validators=[MinValueValidator(least), MaxValueValidator(most)],
        help_text=said,
    )


class WatchLimits(OneRow):
    """The limits that the watch holds the numbers to. One row."""

    false_share = _part(
        "0.0500",
        "0.0010",
        "0.5000",
        said="Of the silent columns found in one look, so many may be false on average.",
    )
    double_rate = _part(
        "0.0020",
        "0",
        "0.0500",
        said="Vends out of which one more product may drop without a finding. Assumed.",
    )
    miscount = _part(
        "0.0800",
        "0",
        "0.4000",
        said="How often a count is one too many, and as often one too few. Assumed.",
    )
    missing_chance = _part(
        "0.0010",
        "0.0001",
        "0.1000",
        said="Missing units are found when chance leaves so many missing no oftener than this.",
    )
    sold_out_loss = money(
        default=Decimal(10), help_text="Margin that a column may lose in a week, sold out."
    )
    warm_minutes = _whole(60, 0, 1440, said="A cabinet may be warm for so long, as while filled.")
    warm_limit_c = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        default=Decimal("7.0"),
        validators=[MinValueValidator(Decimal(-30)), MaxValueValidator(Decimal(60))],
        help_text="Warmer readings of a cooled cabinet are wrong. Goods that spoil have limits of "
        "their own by law.",
    )
    clock_minutes = _whole(15, 1, 1440, said="How far a machine's clock may be off.")
    power_losses = _whole(3, 1, 100, said="From so many losses of power in a week on.")
    cash_off = money(
        default=Decimal(2),
        help_text="What a bag may differ from the meter by: coin tubes take and give.",
    )
    cash_chance = _part(
        "0.0010",
        "0.0001",
        "0.1000",
        said="Short bags are found when chance makes such a run no oftener than this.",
    )
    days_back = _whole(60, 14, 365, said="How far back counts, bags and takings are looked at.")
    quiet_days = _whole(30, 1, 365, said="What was dismissed is not found again for so long.")
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name = "limits of the watch"
        verbose_name_plural = "limits of the watch"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="watch_limits_one_row"),
            models.CheckConstraint(
                condition=models.Q(
                    false_share__gt=0,
                    double_rate__gte=0,
                    miscount__gte=0,
                    missing_chance__gt=0,
                    cash_chance__gt=0,
                    cash_off__gte=0,
                    sold_out_loss__gte=0,
                    clock_minutes__gte=1,
                    power_losses__gte=1,
                    days_back__gte=14,
                    quiet_days__gte=1,
                ),
                name="watch_limits_possible",
            ),
        ]

    def __str__(self) -> str:
        return "limits of the watch"


class WatchRule(models.Model):
    """Findings of one kind that become tickets by themselves, from a strength on."""

    kind = models.CharField(max_length=12, choices=Finding.Kind.choices, unique=True)
    strength = models.FloatField(
        default=4.0,
        validators=[MinValueValidator(0.0), MaxValueValidator(300.0)],
        help_text="At least so strong: 3 is one in a thousand by chance, 4 one in ten thousand.",
    )
    looks = models.PositiveSmallIntegerField(
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(30)],
        help_text="Seen by at least so many looks.",
    )
    symptom = models.ForeignKey(
        "tickets.Symptom", on_delete=models.PROTECT, related_name="+", help_text="Of the ticket."
    )
    urgency = models.CharField(
        max_length=12, blank=True, help_text="Of the ticket; empty: the symptom's own."
    )
    active = models.BooleanField(default=False)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["kind", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(strength__gte=0, looks__gte=1), name="watch_rule_possible"
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} from {self.strength:g} on"
