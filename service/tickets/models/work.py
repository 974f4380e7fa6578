"""What was done to end a ticket, and what it took."""

from django.conf import settings
from django.db import models

from fleet.inventory.models import Movement, StockPlace
from fleet.machines.models import Changeover, Product
from fleet.machines.models.fields import money

from .tickets import Ticket
from .words import Cause


class WorkDone(models.Model):
    """How a ticket was closed: the cause found, the work, its time and its tests."""

    ticket = models.OneToOneField(Ticket, on_delete=models.PROTECT, related_name="work")
    cause = models.ForeignKey(Cause, on_delete=models.PROTECT, related_name="works")
    work = models.TextField(blank=True, help_text="What was done, in words.")
    minutes = models.PositiveSmallIntegerField(help_text="At the machine.")
    labour_cost = money()
    parts_cost = money(help_text="Of the parts whose cost is known.")
    test_vends_made = models.PositiveSmallIntegerField(default=0)
    test_vends_passed = models.PositiveSmallIntegerField(default=0)
    changeover = models.OneToOneField(
        Changeover,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="service_work",
        help_text="Where a column was touched: its as-left settings.",
    )
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="service_works"
    )
    done_at = models.DateTimeField()
    first_time = models.BooleanField(
        "mended the first time",
        default=True,
        help_text="Not when the fault came back within the set time, or had come back.",
    )

    class Meta:
        verbose_name = "work done"
        verbose_name_plural = "work done"
        ordering = ["-done_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(test_vends_passed__lte=models.F("test_vends_made")),
                name="work_passed_of_made",
            ),
        ]
        indexes = [models.Index(fields=["cause", "-done_at"], name="work_by_cause")]

    def __str__(self) -> str:
        return f"{self.ticket}: {self.cause}"


class PartUsed(models.Model):
    """So many of a spare part that stayed in the machine."""

    work = models.ForeignKey(WorkDone, on_delete=models.PROTECT, related_name="parts")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="parts_used")
    quantity = models.PositiveSmallIntegerField()
    place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="+")
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="parts_used")

    class Meta:
        verbose_name = "part used"
        verbose_name_plural = "parts used"
        ordering = ["work", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["work", "product"], name="part_once_a_work"),
            models.CheckConstraint(condition=models.Q(quantity__gte=1), name="part_at_least_one"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} × {self.product}"
