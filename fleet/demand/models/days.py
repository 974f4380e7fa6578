"""Days that sell otherwise than usual."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.machines.models import Site


class UnusualDay(models.Model):
    """A day on which a site, or every site, sells so much of what is usual: 0 when it is closed.

    What is fitted on it is weighed by it, and what is told of it ahead, too.
    """

    site = models.ForeignKey(
        Site,
        null=True,
        blank=True,
        on_delete=models.CASCADE,
        related_name="unusual_days",
        help_text="Empty: every site.",
    )
    day = models.DateField()
    part = models.DecimalField(
        max_digits=4,
        decimal_places=2,
        default=Decimal(0),
        validators=[MinValueValidator(Decimal(0)), MaxValueValidator(Decimal(10))],
        help_text="Of what it usually sells: 0 closed, 0.5 half, 2 twice as much.",
    )
    note = models.CharField(max_length=100, blank=True, help_text="Why, such as: public holiday.")

    class Meta:
        ordering = ["day", "site", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "day"], nulls_distinct=False, name="unusual_day_once_a_site"
            ),
            models.CheckConstraint(
                condition=models.Q(part__gte=0, part__lte=10), name="unusual_day_part_possible"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site or 'every site'} on {self.day}"
