"""The ledger: what moved from where to where, and what is left where."""

from django.conf import settings
from django.db import models

from fleet.machines.models import Product

from .places import Lot, StockPlace


class Movement(models.Model):
    """One happening in which products moved. Never changed or deleted; a mistake is corrected by
    another one that moves them back."""

    class Reason(models.TextChoices):
        OPENING = "opening", "first record"
        RECEIPT = "receipt", "receipt"
        LOAD = "load", "load"
        UNLOAD = "unload", "unload"
        TRANSFER = "transfer", "transfer"
        FILL = "fill", "fill"
        REMOVAL = "removal", "removal"
        SALE = "sale", "sale"
        WASTE = "waste", "waste"
        COUNT = "count", "count"
        RETURN = "return", "return to the supplier"
        CORRECTION = "correction", "correction"
        PART = "part", "part fitted"

    class WasteReason(models.TextChoices):
        NONE = "", "not waste"
        OUT_OF_DATE = "out_of_date", "out of date"
        DAMAGED = "damaged", "damaged"
        SPOILED = "spoiled", "spoiled by heat or frost"
        RECALLED = "recalled", "recalled"
        OTHER = "other", "other"

    reason = models.CharField(max_length=10, choices=Reason.choices)
    waste_reason = models.CharField(
        max_length=11, choices=WasteReason.choices, blank=True, default=WasteReason.NONE
    )
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Empty when the service acted by itself.",
    )
    happened_at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField(help_text="When the service heard of it.")
    key = models.CharField(
        max_length=200, null=True, blank=True, help_text="The sender's own; one person, one key."
    )
    fingerprint = models.CharField(
        max_length=64, blank=True, help_text="SHA-256 of what was asked under the key, hex."
    )
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    because_of = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="consequences",
        help_text="What came late, so that a count after it found another difference.",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-happened_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["actor", "key"],
                condition=models.Q(key__isnull=False),
                nulls_distinct=False,
                name="movement_key_once",
            ),
            models.CheckConstraint(
                condition=(models.Q(reason="waste") & ~models.Q(waste_reason=""))
                | (~models.Q(reason="waste") & models.Q(waste_reason="")),
                name="movement_waste_has_reason",
            ),
            models.CheckConstraint(
                condition=models.Q(corrects__isnull=True) | models.Q(reason="correction"),
                name="movement_corrects_as_correction",
            ),
        ]
        indexes = [
            models.Index(fields=["-happened_at", "-id"], name="movement_latest_first"),
            models.Index(fields=["reason", "-happened_at"], name="movement_by_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.get_reason_display()} {self.happened_at:%Y-%m-%d %H:%M}"


class MovementLine(models.Model):
    """So many of one product, and of one lot where it is known, from one place to another.

    The moment is the movement's own, kept here so that what a place held at any time is one sum.
    """

    movement = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="lines")
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="movement_lines", db_index=False
    )
    lot = models.ForeignKey(
        Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="movement_lines"
    )
    from_place = models.ForeignKey(
        StockPlace, on_delete=models.PROTECT, related_name="lines_out", db_index=False
    )
    to_place = models.ForeignKey(
        StockPlace, on_delete=models.PROTECT, related_name="lines_in", db_index=False
    )
    quantity = models.PositiveIntegerField()
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    happened_at = models.DateTimeField()

    class Meta:
        verbose_name = "movement line"
        ordering = ["movement", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(quantity__gte=1), name="movement_line_moves_something"
            ),
            models.CheckConstraint(
                condition=~models.Q(from_place=models.F("to_place")),
                name="movement_line_between_two_places",
            ),
            models.CheckConstraint(
                condition=models.Q(unit_cost__isnull=True) | models.Q(unit_cost__gte=0),
                name="movement_line_cost_not_negative",
            ),
        ]
        indexes = [
            models.Index(fields=["from_place", "happened_at"], name="line_out_of_place"),
            models.Index(fields=["to_place", "happened_at"], name="line_into_place"),
            models.Index(fields=["product", "happened_at"], name="line_of_product"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.product} from {self.from_place} to {self.to_place}"


class StockLevel(models.Model):
    """What a place of ours holds of one product and lot by the ledger, kept together with it.

    A column's is an estimate and may be below zero until the next count; a warehouse or a truck
    cannot give what it does not hold.
    """

    place = models.ForeignKey(
        StockPlace, on_delete=models.PROTECT, related_name="levels", db_index=False
    )
    product = models.ForeignKey(
        Product, on_delete=models.PROTECT, related_name="levels", db_index=False
    )
    lot = models.ForeignKey(
        Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="levels"
    )
    quantity = models.IntegerField()
    is_estimate = models.BooleanField(help_text="The place is a column.")

    class Meta:
        verbose_name = "stock level"
        ordering = ["place", "product", "lot", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "product", "lot"], nulls_distinct=False, name="stock_level_once"
            ),
            models.CheckConstraint(
                condition=models.Q(quantity__gte=0) | models.Q(is_estimate=True),
                name="stock_level_not_below_zero",
            ),
        ]
        indexes = [models.Index(fields=["product", "place"], name="level_of_product")]

    def __str__(self) -> str:
        return f"{self.quantity} {self.product} in {self.place}"
