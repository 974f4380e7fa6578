"""Change that lies out: in the coin tubes of machines, and with hosts for refunds."""

from django.conf import settings
from django.db import models

from fleet.machines.models import Machine, Site
from fleet.machines.models.fields import money

from .bags import Bag


class TubeFill(models.Model):
    """Change put into a machine's coin tubes by hand, or taken out of them. Never changed."""

    class Way(models.TextChoices):
        PUT_IN = "put_in", "put in"
        TAKEN_OUT = "taken_out", "taken out"

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="tube_fills")
    way = models.CharField(max_length=9, choices=Way.choices)
    amount = money()
    at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    from_bag = models.ForeignKey(
        Bag,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="tube_fills",
        help_text="The counted bag whose money it was; empty: other money.",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "change in tubes"
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=models.Q(amount__gt=0), name="tube_fill_of_something"),
            models.CheckConstraint(
                condition=models.Q(way="put_in") | models.Q(from_bag__isnull=True),
                name="tube_fill_from_a_bag_goes_in",
            ),
        ]
        indexes = [models.Index(fields=["machine", "at"], name="tube_fill_of_machine")]

    def __str__(self) -> str:
        return f"{self.machine}: {self.amount:.2f} {self.get_way_display()}"


class HostFloatLine(models.Model):
    """A line of the change that a host keeps for refunds; the lines of a site add up to it.

    Never changed or deleted. A count that differs writes the difference.
    """

    class What(models.TextChoices):
        PUT_IN = "put_in", "brought to the host"
        REFUND = "refund", "refund paid out"
        TAKEN_BACK = "taken_back", "taken back from the host"
        COUNTED = "counted", "counted at the host's"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="float_lines")
    what = models.CharField(max_length=10, choices=What.choices)
    amount = models.DecimalField(
        max_digits=12, decimal_places=4, help_text="What it adds; below zero it takes away."
    )
    found = money(null=True, blank=True, help_text="What a count found there.")
    at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    from_bag = models.ForeignKey(
        Bag,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="float_lines",
        help_text="The counted bag whose money it was; empty: other money.",
    )
    reference = models.CharField(
        max_length=60, blank=True, help_text="Which refund was paid, or the host's receipt."
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "line of a host's float"
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(what="put_in", amount__gt=0, found__isnull=True)
                | models.Q(
                    what__in=["refund", "taken_back"],
                    amount__lt=0,
                    found__isnull=True,
                    from_bag__isnull=True,
                )
                | models.Q(what="counted", found__isnull=False, from_bag__isnull=True),
                name="host_float_line_whole",
            ),
        ]
        indexes = [models.Index(fields=["site", "at"], name="float_line_of_site")]

    def __str__(self) -> str:
        return f"{self.site}: {self.get_what_display()} {self.amount:.2f}"
