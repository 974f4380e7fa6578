"""Counts: what somebody found in a place with their own eyes."""

from django.conf import settings
from django.db import models

from fleet.machines.models import Product

from .ledger import Movement
from .places import Lot, StockPlace


class StockCount(models.Model):
    """Somebody counted a place of ours at one moment; the ledger was put right from there on."""

    place = models.ForeignKey(
        StockPlace, on_delete=models.PROTECT, related_name="counts", db_index=False
    )
    counted_at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField(help_text="When the service heard of it.")
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    is_whole = models.BooleanField(
        default=False, help_text="What has no line here was not there, as nobody found any."
    )
    key = models.CharField(max_length=200, null=True, blank=True)
    fingerprint = models.CharField(max_length=64, blank=True)
    movement = models.ForeignKey(
        Movement,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="counts",
        help_text="What posted the differences; empty where there were none.",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "count"
        ordering = ["-counted_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "actor", "key"],
                condition=models.Q(key__isnull=False),
                nulls_distinct=False,
                name="stock_count_key_once",
            )
        ]
        indexes = [models.Index(fields=["place", "-counted_at"], name="count_of_place")]

    def __str__(self) -> str:
        return f"{self.place} counted {self.counted_at:%Y-%m-%d %H:%M}"


class CountLine(models.Model):
    """What was found of one product, beside what the ledger said at that moment as it then stood.

    With no lot it is all of the product, or, where other lines name its lots, what bears none.
    """

    count = models.ForeignKey(
        StockCount, on_delete=models.PROTECT, related_name="lines", db_index=False
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="count_lines")
    lot = models.ForeignKey(
        Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="count_lines"
    )
    by_lot = models.BooleanField(default=False, help_text="The product's lots were told apart.")
    counted = models.PositiveIntegerField()
    book = models.IntegerField(help_text="By the ledger, as of the moment of the count.")
    difference = models.IntegerField(help_text="Counted less book.")

    class Meta:
        verbose_name = "count line"
        ordering = ["count", "product", "lot", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["count", "product", "lot"], nulls_distinct=False, name="count_line_once"
            ),
            models.CheckConstraint(
                condition=models.Q(difference=models.F("counted") - models.F("book")),
                name="count_line_difference_adds_up",
            ),
            models.CheckConstraint(
                condition=models.Q(lot__isnull=True) | models.Q(by_lot=True),
                name="count_line_lot_told_apart",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counted} {self.product}, book {self.book}"
