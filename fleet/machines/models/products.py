"""What a column can hold: packages by shape and size, and the products that come in them."""

from decimal import Decimal

from django.contrib.postgres.indexes import GinIndex, OpClass
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models.functions import Upper

from fleet.compute.gtin import BadGtin, as_gtin14

from .fields import measured, money


def validate_gtin(value: str) -> None:
    try:
        as_gtin14(value)
    except BadGtin as error:
        raise ValidationError(str(error), code="gtin") from error


class Package(models.Model):
    """One physical shape, measured: every product in it is set up alike.

    Sizes in mm from the base up.
    """

    class Shape(models.TextChoices):
        CAN = "can", "can"
        NECKED_BOTTLE = "necked_bottle", "necked bottle"
        BOTTLE_WITHOUT_NECK = "bottle_without_neck", "bottle without neck"
        CARTON = "carton", "carton"
        BAG = "bag", "bag"

    name = models.CharField(max_length=80, unique=True)
    shape = models.CharField(max_length=20, choices=Shape.choices)
    length_mm = measured(help_text="Base to the top of the cap.")
    diameter_mm = measured(help_text="The widest place across the body.")
    shoulder_mm = measured(help_text="Base to where the body begins to narrow.")
    neck_from_mm = measured(help_text="Base to where a spacer can sit in the neck.")
    neck_to_mm = measured(help_text="Base to the lower edge of the ring or cap.")
    neck_diameter_mm = measured()
    cap_diameter_mm = measured()
    width_mm = measured(help_text="Cartons and bags: the longer side across.")
    thickness_mm = measured(help_text="Cartons and bags: the shorter side across.")
    height_mm = measured(help_text="Cartons and bags: how tall it stands.")
    volume_ml = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    weight_g = models.DecimalField(max_digits=8, decimal_places=1, null=True, blank=True)
    material = models.CharField(
        max_length=12,
        blank=True,
        choices=[
            ("aluminium", "aluminium"),
            ("steel", "steel"),
            ("plastic", "plastic"),
            ("glass", "glass"),
            ("carton", "carton"),
            ("film", "film"),
        ],
    )
    measured_note = models.CharField(
        max_length=200, blank=True, help_text="Who measured it, with what."
    )
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(shoulder_mm__isnull=True)
                | models.Q(length_mm__isnull=True)
                | models.Q(shoulder_mm__lte=models.F("length_mm")),
                name="package_shoulder_below_top",
            ),
            models.CheckConstraint(
                condition=models.Q(neck_from_mm__isnull=True)
                | models.Q(neck_to_mm__isnull=True)
                | models.Q(neck_from_mm__lt=models.F("neck_to_mm")),
                name="package_neck_has_length",
            ),
            models.CheckConstraint(
                condition=models.Q(neck_to_mm__isnull=True)
                | models.Q(length_mm__isnull=True)
                | models.Q(neck_to_mm__lte=models.F("length_mm")),
                name="package_neck_below_top",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Product(models.Model):
    """One thing sold: its package, price and cost, and what tax and labels ask of it."""

    class Form(models.TextChoices):
        DRINK = "drink", "drink"
        BAR_DROP_PIECE = "bar_drop_piece", "bar, drops or pieces"
        OTHER_FOOD = "other_food", "other food"
        NOT_FOOD = "not_food", "not food"
        PART = "part", "spare part, not sold"

    class Water(models.TextChoices):
        NONE = "", "not water"
        PLAIN = "plain", "plain water"
        FLAVOURED = "flavoured", "flavoured water"

    name = models.CharField(max_length=100)
    package = models.ForeignKey(Package, on_delete=models.PROTECT, related_name="products")
    gtin = models.CharField(
        "GTIN",
        max_length=14,
        null=True,
        blank=True,
        unique=True,
        validators=[validate_gtin],
        help_text="Kept as 14 digits; GTIN-8, UPC-A and EAN-13 are accepted.",
    )
    price = money(help_text="The usual price to a customer, tax included where a machine sells so.")
    cost = money(null=True, blank=True, help_text="What one unit costs the business.")
    shelf_life_days = models.PositiveSmallIntegerField(null=True, blank=True)
    picture = models.CharField(
        max_length=100, blank=True, help_text="The button picture that belongs to it."
    )
    sold = models.BooleanField("still sold", default=True)
    # What tax and labels ask (the definitions differ by state, so the facts are kept, not a class).
    form = models.CharField(max_length=16, choices=Form.choices, default=Form.DRINK)
    sweetened = models.BooleanField(null=True, blank=True)
    juice_percent = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MaxValueValidator(100)]
    )
    contains_milk = models.BooleanField("contains milk or a milk substitute", null=True, blank=True)
    carbonated = models.BooleanField(null=True, blank=True)
    contains_flour = models.BooleanField(null=True, blank=True)
    needs_refrigeration = models.BooleanField(null=True, blank=True)
    heated = models.BooleanField(default=False)
    supplement_facts = models.BooleanField("carries a Supplement Facts box", default=False)
    kept_cold_or_hot = models.BooleanField(
        "kept cold or hot for safety",
        default=False,
        help_text="Time/temperature control for safety food, as the food code has it.",
    )
    calories = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(Decimal(0))],
        help_text="kcal in the whole package as sold, before rounding.",
    )
    water = models.CharField(max_length=10, choices=Water.choices, default=Water.NONE, blank=True)
    updated_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(price__gte=0)
                & (models.Q(cost__isnull=True) | models.Q(cost__gte=0)),
                name="product_money_not_negative",
            ),
            models.CheckConstraint(
                condition=models.Q(gtin__isnull=True) | models.Q(gtin__regex=r"^[0-9]{14}$"),
                name="product_gtin_14_digits",
            ),
            models.CheckConstraint(
                condition=~models.Q(form="part") | models.Q(sold=False),
                name="product_part_not_sold",
                violation_error_message="A spare part is not sold.",
            ),
            models.CheckConstraint(
                condition=models.Q(juice_percent__isnull=True) | models.Q(juice_percent__lte=100),
                name="product_juice_percent",
            ),
        ]
        indexes = [
            GinIndex(OpClass(Upper("name"), name="gin_trgm_ops"), name="product_name_search")
        ]

    def __str__(self) -> str:
        return self.name
