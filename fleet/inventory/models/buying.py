"""Who supplies what in which case at what cost, what was ordered, and what came of it."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from fleet.machines.models import Product
from fleet.machines.models.fields import money
from people.models import Person

from .places import StockPlace


class Supplier(models.Model):
    """Somebody whom the business buys products from."""

    name = models.CharField(max_length=100, unique=True)
    account = models.CharField(
        "our account with them", max_length=40, blank=True, help_text="Their number for us."
    )
    contact = models.CharField(max_length=120, blank=True)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField("e-mail", blank=True)
    review_days = models.PositiveSmallIntegerField(
        "days between orders",
        default=7,
        validators=[MinValueValidator(1), MaxValueValidator(90)],
        help_text="How often an order to them is thought about.",
    )
    line_cost = money(
        default=Decimal(0),
        help_text="What one more line of an order costs to receive and put away. 0: each order "
        "tops up; above 0, small amounts wait until they are worth a line.",
    )
    notes = models.TextField(blank=True)
    active = models.BooleanField("still bought from", default=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(review_days__gte=1), name="supplier_review_days"),
            models.CheckConstraint(condition=Q(line_cost__gte=0), name="supplier_line_cost"),
        ]

    def __str__(self) -> str:
        return self.name


class SupplierItem(models.Model):
    """A product as one supplier sells it: by the case, at a cost, after so many days."""

    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="items")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="supplier_items")
    code = models.CharField("their code", max_length=40, blank=True)
    units_per_case = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    case_cost = money()
    lead_time_days = models.PositiveSmallIntegerField(
        default=2,
        validators=[MaxValueValidator(120)],
        help_text="From the order to the delivery.",
    )
    minimum_cases = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1)], help_text="The fewest that one order may ask."
    )
    least_days_left = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Days before best before that a delivery should leave."
    )
    preferred = models.BooleanField(
        default=False, help_text="Whom suggestions buy this product from."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["supplier", "product__name", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "product"], name="supplier_item_product_once"
            ),
            models.UniqueConstraint(
                fields=["product"],
                condition=Q(preferred=True),
                name="supplier_item_one_preferred",
                violation_error_message="Another supplier is preferred for this product.",
            ),
            models.CheckConstraint(
                condition=Q(units_per_case__gte=1, minimum_cases__gte=1, case_cost__gte=0),
                name="supplier_item_figures_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product} from {self.supplier}"

    @property
    def unit_cost(self) -> Decimal:
        return self.case_cost / self.units_per_case


class PurchaseOrder(models.Model):
    """One order to a supplier for one warehouse: drafted, placed, then received or cancelled."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PLACED = "placed", "placed"
        RECEIVED = "received", "received"
        CANCELLED = "cancelled", "cancelled"

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    place = models.ForeignKey(
        StockPlace,
        on_delete=models.PROTECT,
        related_name="orders",
        verbose_name="delivered to",
        help_text="A warehouse.",
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.DRAFT)
    expected_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField()
    created_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField(null=True, blank=True)
    placed_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="draft", placed_at__isnull=True, ended_at__isnull=True)
                | Q(state="placed", placed_at__isnull=False, ended_at__isnull=True)
                | Q(state="received", placed_at__isnull=False, ended_at__isnull=False)
                | Q(state="cancelled", ended_at__isnull=False),
                name="order_state_and_times",
            )
        ]

    def __str__(self) -> str:
        return f"order {self.pk} to {self.supplier}"


class OrderLine(models.Model):
    """So many cases of a product in an order, at the case and cost of the day it was written.

    `suggestion` keeps the figures that the number of cases was suggested from, or null when a
    person chose it.
    """

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="lines")
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="order_lines")
    code = models.CharField("their code", max_length=40, blank=True)
    cases = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    units_per_case = models.PositiveIntegerField(validators=[MinValueValidator(1)])
    case_cost = money()
    suggestion = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["order", "product__name", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["order", "product"], name="order_line_product_once"),
            models.CheckConstraint(
                condition=Q(cases__gte=1, units_per_case__gte=1, case_cost__gte=0),
                name="order_line_figures_possible",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.cases} cases of {self.product}"

    @property
    def units(self) -> int:
        return self.cases * self.units_per_case

    @property
    def cost(self) -> Decimal:
        return self.cases * self.case_cost


class Receipt(models.Model):
    """One delivery that came in, against an order or without one."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="receipts")
    order = models.ForeignKey(
        PurchaseOrder, null=True, blank=True, on_delete=models.PROTECT, related_name="receipts"
    )
    place = models.ForeignKey(StockPlace, on_delete=models.PROTECT, related_name="receipts")
    delivery_note = models.CharField(
        max_length=60, blank=True, help_text="The number on the paper that came with it."
    )
    received_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    actor = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    movement = models.OneToOneField(
        "inventory.Movement",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="receipt",
        help_text="Empty when all of it was refused.",
    )
    note = models.CharField(max_length=300, blank=True)
    taken_back_at = models.DateTimeField(null=True, blank=True)
    taken_back_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-received_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(received_at__lte=F("recorded_at")), name="receipt_not_from_the_future"
            )
        ]

    def __str__(self) -> str:
        return f"receipt {self.pk} from {self.supplier}"


class ReceiptLine(models.Model):
    """What came of one product and lot, beside what was expected; the differences are kept."""

    class Difference(models.TextChoices):
        SHORT = "short", "fewer than ordered"
        OVER = "over", "more than ordered"
        NOT_ORDERED = "not_ordered", "not ordered"
        OTHER_DATE = "other_date", "another date than the paper says"
        SHORT_DATED = "short_dated", "fewer days left than agreed"
        OTHER_COST = "other_cost", "another cost than ordered"
        REFUSED = "refused", "some refused"

    receipt = models.ForeignKey(Receipt, on_delete=models.CASCADE, related_name="lines")
    order_line = models.ForeignKey(
        OrderLine, null=True, blank=True, on_delete=models.PROTECT, related_name="received"
    )
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(
        "inventory.Lot", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    expected_units = models.PositiveIntegerField(
        help_text="Still owed by the order when this came; 0 when not ordered."
    )
    units = models.PositiveIntegerField(help_text="Taken into stock.")
    refused_units = models.PositiveIntegerField(
        default=0, help_text="Sent back with the delivery: never in stock."
    )
    unit_cost = models.DecimalField(
        max_digits=14, decimal_places=6, validators=[MinValueValidator(Decimal(0))]
    )
    stated_best_before = models.DateField(
        null=True, blank=True, help_text="As the paper that came with it says."
    )
    differences = models.JSONField(default=list, help_text="Each with its code and its words.")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["receipt", "product__name", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(unit_cost__gte=0), name="receipt_line_cost")
        ]

    def __str__(self) -> str:
        return f"{self.units} of {self.product}"


class CostChange(models.Model):
    """How the average cost of a product came to be what it is: one row a change, oldest first.

    `average` is exact to a millionth; Product.cost is the same to the currency's smallest unit.
    """

    class Cause(models.TextChoices):
        FIRST = "first", "the cost it had before"
        RECEIPT = "receipt", "a receipt"
        TAKEN_BACK = "taken_back", "a receipt taken back"
        BY_HAND = "by_hand", "set by hand"

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="cost_changes")
    at = models.DateTimeField()
    cause = models.CharField(max_length=10, choices=Cause.choices)
    receipt_line = models.ForeignKey(
        ReceiptLine, null=True, blank=True, on_delete=models.PROTECT, related_name="cost_changes"
    )
    held_units = models.PositiveIntegerField(help_text="Held by the business just before.")
    average_before = models.DecimalField(max_digits=14, decimal_places=6, null=True, blank=True)
    units = models.IntegerField(help_text="That came in; below zero when they were taken back.")
    unit_cost = models.DecimalField(max_digits=14, decimal_places=6)
    average = models.DecimalField(max_digits=14, decimal_places=6)
    actor = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["product", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(average__gte=0, unit_cost__gte=0), name="cost_change_not_negative"
            )
        ]
        indexes = [models.Index(fields=["product", "-id"], name="cost_change_latest")]

    def __str__(self) -> str:
        return f"{self.product}: {self.average}"
