"""Where products are, come from and go to; and the batches they come in."""

from django.db import models

from fleet.machines.models import Column, Product, Site


class StockPlace(models.Model):
    """One side of a movement: a place of ours that holds products, or where they come from or go.

    Ours are warehouses, trucks and columns, and what they hold is kept as levels. The outside is
    suppliers, customers, waste, spare parts that stayed in machines, and what nobody can explain;
    each of these but suppliers is one row.
    """

    class Kind(models.TextChoices):
        SUPPLIER = "supplier", "supplier"
        WAREHOUSE = "warehouse", "warehouse"
        TRUCK = "truck", "truck"
        COLUMN = "column", "column"
        CUSTOMER = "customer", "customers"
        WASTE = "waste", "waste"
        UNEXPLAINED = "unexplained", "unexplained"
        FITTED = "fitted", "fitted to machines"

    HELD = (Kind.WAREHOUSE, Kind.TRUCK, Kind.COLUMN)
    ONLY_ONE = (Kind.CUSTOMER, Kind.WASTE, Kind.UNEXPLAINED, Kind.FITTED)

    kind = models.CharField(max_length=11, choices=Kind.choices)
    name = models.CharField(max_length=120)
    site = models.OneToOneField(
        Site, null=True, blank=True, on_delete=models.PROTECT, related_name="stock_place"
    )
    column = models.OneToOneField(
        Column, null=True, blank=True, on_delete=models.PROTECT, related_name="stock_place"
    )
    supplier = models.OneToOneField(
        "inventory.Supplier",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="stock_place",
    )
    active = models.BooleanField("in use", default=True)

    class Meta:
        verbose_name = "stock place"
        ordering = ["kind", "name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(kind="warehouse", site__isnull=False)
                | (~models.Q(kind="warehouse") & models.Q(site__isnull=True)),
                name="stock_place_warehouse_has_site",
            ),
            models.CheckConstraint(
                condition=models.Q(kind="column", column__isnull=False)
                | (~models.Q(kind="column") & models.Q(column__isnull=True)),
                name="stock_place_column_has_column",
            ),
            models.CheckConstraint(
                condition=models.Q(supplier__isnull=True) | models.Q(kind="supplier"),
                name="stock_place_of_a_supplier",
            ),
            models.UniqueConstraint(
                fields=["kind"],
                condition=models.Q(kind__in=["customer", "waste", "unexplained", "fitted"]),
                name="stock_place_one_outside",
            ),
            models.UniqueConstraint(
                fields=["name"], condition=models.Q(kind="truck"), name="stock_place_truck_name"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_held(self) -> bool:
        """Whether what is here is ours, and kept as levels."""
        return self.kind in self.HELD


class Lot(models.Model):
    """One batch of a product: all that bears the same code and best-before date."""

    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="lots")
    code = models.CharField(max_length=40, blank=True, help_text="As printed on the product.")
    best_before = models.DateField(
        null=True, blank=True, help_text="The last day on which it may be sold."
    )

    class Meta:
        ordering = ["product", models.F("best_before").asc(nulls_last=True), "code", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["product", "code", "best_before"], nulls_distinct=False, name="lot_once"
            ),
            models.CheckConstraint(
                condition=models.Q(best_before__isnull=False) | ~models.Q(code=""),
                name="lot_says_something",
            ),
        ]
        indexes = [models.Index(fields=["best_before"], name="lot_by_best_before")]

    def __str__(self) -> str:
        date = f"best before {self.best_before}" if self.best_before else "undated"
        return f"{self.code}, {date}" if self.code else date
