"""The way of a bag from its seal to the bank: lines that are only ever added."""

from typing import Any

from django.conf import settings
from django.db import models

from fleet.machines.models.fields import money

from .bags import Bag, BagCount


class BagStep(models.Model):
    """Something that happened to a sealed bag. Sealing, counts and bankings have rows of their own.

    Never changed or deleted: what was wrong is followed by what is right.
    """

    class What(models.TextChoices):
        RECEIVED = "received", "received"
        OPENED = "opened", "opened"
        MISSING = "missing", "missing"
        FOUND = "found", "found again"

    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="steps")
    what = models.CharField(max_length=8, choices=What.choices)
    at = models.DateTimeField(help_text="As the person says.")
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    second = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Who saw it too.",
    )
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "step of a bag"
        ordering = ["at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(second__isnull=True) | ~models.Q(second=models.F("by")),
                name="bag_step_by_two_different_people",
            ),
            models.CheckConstraint(
                condition=~models.Q(what="missing") | ~models.Q(note=""),
                name="bag_step_missing_says_what_is_known",
            ),
        ]
        indexes = [models.Index(fields=["bag", "at"], name="step_of_bag")]

    def __str__(self) -> str:
        return f"{self.bag}: {self.get_what_display()}"


class BagCountLine(models.Model):
    """One denomination of a count: so many pieces, or so much by weight. Minor units.

    Without a denomination it is a sum: of coins by weight that are worth alike, or a plain total.
    """

    class Kind(models.TextChoices):
        COIN = "coin", "coins"
        NOTE = "note", "notes"

    class How(models.TextChoices):
        BY_COUNT = "by_count", "by count"
        BY_WEIGHT = "by_weight", "by weight"
        TOTAL = "total", "as a sum"

    count = models.ForeignKey(BagCount, on_delete=models.PROTECT, related_name="lines")
    kind = models.CharField(max_length=4, choices=Kind.choices)
    how = models.CharField(max_length=9, choices=How.choices)
    denomination_minor = models.PositiveIntegerField(null=True, blank=True)
    number = models.PositiveIntegerField(null=True, blank=True, help_text="Pieces.")
    weight_g = models.DecimalField(
        max_digits=9, decimal_places=3, null=True, blank=True, help_text="Empty of its box."
    )
    amount_minor = models.PositiveBigIntegerField()
    least_minor = models.PositiveBigIntegerField(help_text="No less agrees with what was found.")
    most_minor = models.PositiveBigIntegerField(help_text="No more agrees with what was found.")
    said = models.CharField(max_length=300, blank=True, help_text="How sure a weight is.")

    class Meta:
        verbose_name = "line of a bag count"
        ordering = ["-kind", "-denomination_minor", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    how="by_count",
                    number__isnull=False,
                    denomination_minor__isnull=False,
                    weight_g__isnull=True,
                    amount_minor=models.F("number") * models.F("denomination_minor"),
                )
                | models.Q(how="by_weight", weight_g__isnull=False, kind="coin")
                | models.Q(
                    how="total",
                    number__isnull=True,
                    denomination_minor__isnull=True,
                    weight_g__isnull=True,
                ),
                name="bag_count_line_whole",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    least_minor__lte=models.F("amount_minor"),
                    most_minor__gte=models.F("amount_minor"),
                ),
                name="bag_count_line_within_its_span",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.get_how_display()}: {self.amount_minor}"


class Banking(models.Model):
    """Bags that went to the bank together on one slip. Only `taken_back_at` is ever set later."""

    slip_number = models.CharField(max_length=40)
    amount = money(help_text="As the slip says.")
    held = money(
        help_text="What the bags held by their counts, less what was taken out for change."
    )
    banked_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    taken_back_why = models.CharField(max_length=300, blank=True)

    # Put there by queries.bankings.bankings_whole, and by nothing else.
    confirmed: Any
    confirmed_on: Any
    off: Any

    class Meta:
        ordering = ["-banked_at", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~models.Q(slip_number=""), name="banking_has_a_slip"),
            models.UniqueConstraint(
                fields=["slip_number"],
                condition=models.Q(taken_back_at__isnull=True),
                name="banking_one_a_slip",
                violation_error_message="this slip's number is on another banking",
            ),
            models.CheckConstraint(
                condition=models.Q(amount=models.F("held")) | ~models.Q(note=""),
                name="banking_differs_and_says_why",
                violation_error_message="the slip is not what the bags held; say why in the note",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    taken_back_at__isnull=True, taken_back_by__isnull=True, taken_back_why=""
                )
                | (
                    models.Q(taken_back_at__isnull=False, taken_back_by__isnull=False)
                    & ~models.Q(taken_back_why="")
                ),
                name="banking_taken_back_says_why",
            ),
        ]
        indexes = [models.Index(fields=["-banked_at", "-id"], name="banking_latest_first")]

    def __str__(self) -> str:
        return f"banking {self.slip_number}"


class BankedBag(models.Model):
    """A bag on a banking, and what of it went to the bank. A bag stands on one at most."""

    banking = models.ForeignKey(Banking, on_delete=models.PROTECT, related_name="banked")
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, related_name="banked")
    amount = money(help_text="Its last count, less what was taken out for change.")
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        verbose_name = "bag on a banking"
        ordering = ["banking", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["bag"],
                condition=models.Q(taken_back_at__isnull=True),
                name="banked_bag_once",
            ),
            models.UniqueConstraint(fields=["banking", "bag"], name="banked_bag_once_a_banking"),
        ]

    def __str__(self) -> str:
        return f"{self.bag} on {self.banking}"


class BankingConfirmed(models.Model):
    """What the bank says it received. Never changed; told again, the last one recorded holds."""

    banking = models.ForeignKey(Banking, on_delete=models.PROTECT, related_name="confirmations")
    amount = money(help_text="As the bank's statement says.")
    confirmed_on = models.DateField(help_text="The day on the bank's statement.")
    reference = models.CharField(max_length=60, blank=True)
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        verbose_name = "confirmation of a banking"
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.banking}: {self.amount:.2f} on {self.confirmed_on}"
