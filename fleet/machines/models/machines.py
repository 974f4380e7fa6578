"""Machines, where they stood when, their selections and their columns."""

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import RangeOperators
from django.contrib.postgres.indexes import GinIndex, OpClass
from django.db import models
from django.db.models.functions import Upper

from .fields import Period
from .kinds import Kind, Position
from .sites import Site


class Machine(models.Model):
    """One cabinet with an asset tag.

    It stands at a site, in the shop or in store (see Placement).
    """

    class Status(models.TextChoices):
        IN_SERVICE = "in_service", "in service"
        IN_SHOP = "in_shop", "in the shop"
        IN_STORE = "in_store", "in store"
        RETIRED = "retired", "retired"

    asset_tag = models.CharField(max_length=20, unique=True)
    kind = models.ForeignKey(Kind, on_delete=models.PROTECT, related_name="machines")
    serial = models.CharField(max_length=40, blank=True)
    board_serial = models.CharField(
        max_length=40, blank=True, help_text="Of the control board, as its audit files give it."
    )
    status = models.CharField(max_length=10, choices=Status.choices, default=Status.IN_SERVICE)
    made_on = models.DateField(
        null=True, blank=True, help_text="As its plate says; energy rules go by it."
    )
    notes = models.TextField(blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["asset_tag", "pk"]
        indexes = [
            models.Index(fields=["serial"], name="machine_by_serial"),
            models.Index(fields=["board_serial"], name="machine_by_board_serial"),
            GinIndex(OpClass(Upper("asset_tag"), name="gin_trgm_ops"), name="machine_tag_search"),
        ]

    def __str__(self) -> str:
        return self.asset_tag


class Placement(models.Model):
    """A machine stood at a site from one moment to another; an empty end means it stands there
    now."""

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="placements")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="placements")
    spot = models.CharField(max_length=100, blank=True, help_text="Where at the site.")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["machine", "-starts_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(ends_at__isnull=True)
                | models.Q(ends_at__gt=models.F("starts_at")),
                name="placement_ends_after_start",
            ),
            ExclusionConstraint(
                name="placement_one_at_a_time",
                expressions=[
                    ("machine", RangeOperators.EQUAL),
                    (Period(), RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return f"{self.machine} at {self.site}"


class WaysOfPaying(models.Model):
    """Which payment a machine takes from a day on, by its site's calendar.

    Some tax rules go by it. A machine without a row takes all forms of payment.
    """

    class Takes(models.TextChoices):
        CASH = "cash", "coins and notes only"
        ALL = "all", "cash and cards"
        CASHLESS = "cashless", "cards only"

    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="ways_of_paying")
    takes = models.CharField(max_length=8, choices=Takes.choices)
    starts_on = models.DateField()

    class Meta:
        ordering = ["machine", "-starts_on", "pk"]
        verbose_name = "ways of paying"
        verbose_name_plural = "ways of paying"
        constraints = [
            models.UniqueConstraint(
                fields=["machine", "starts_on"], name="ways_of_paying_once_a_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.machine} takes {self.get_takes_display()} from {self.starts_on}"


class Selection(models.Model):
    """A customer's button or code. It draws on one column or on several (front and rear)."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="selections")
    code = models.CharField(max_length=8, help_text="As the customer and the audit file call it.")
    order = models.PositiveSmallIntegerField(default=0)
    picture = models.CharField(
        max_length=100, blank=True, help_text="The picture on the button now."
    )

    class Meta:
        ordering = ["machine", "order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["machine", "code"], name="selection_code_in_machine")
        ]

    def __str__(self) -> str:
        return f"{self.machine} selection {self.code}"


class Column(models.Model):
    """One position of one machine."""

    machine = models.ForeignKey(Machine, on_delete=models.CASCADE, related_name="columns")
    position = models.ForeignKey(Position, on_delete=models.PROTECT, related_name="columns")
    selection = models.ForeignKey(
        Selection, null=True, blank=True, on_delete=models.SET_NULL, related_name="columns"
    )

    class Meta:
        ordering = ["machine", "position__order", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["machine", "position"], name="column_position_once")
        ]

    def __str__(self) -> str:
        return f"{self.machine} column {self.position.label}"
