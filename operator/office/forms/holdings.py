"""Packages, products and sites."""

from typing import Any

from django import forms

from fleet.machines.geometry import PACKAGE_SIZES
from fleet.machines.models import Package, Product, Site

from .base import RowForm
from .hours import windows_of


class PackageForm(RowForm):
    model = Package
    columns = (
        "name",
        "shape",
        *PACKAGE_SIZES,
        "material",
        "measured_note",
    )


class ProductForm(RowForm):
    model = Product
    columns = (
        "name",
        "package",
        "gtin",
        "price",
        "cost",
        "shelf_life_days",
        "picture",
        "sold",
        "form",
        "sweetened",
        "juice_percent",
        "contains_milk",
        "carbonated",
        "contains_flour",
        "needs_refrigeration",
        "heated",
        "supplement_facts",
        "water",
        "kept_cold_or_hot",
        "calories",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["form"].label = "What it is"


class SiteForm(RowForm):
    model = Site
    columns = (
        "name",
        "purpose",
        "street",
        "city",
        "county",
        "state",
        "postal_code",
        "country",
        "latitude",
        "longitude",
        "time_zone",
        "contact",
        "host_name",
        "host_email",
        "premises",
        "access_notes",
    )
    labels = {"host_name": "Host", "premises": "What the premises are"}
    # The action's list is typed here as lines of one input.
    stands_for = {"opening_windows": "hours"}
    hours = forms.CharField(
        label="When it can be entered",
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="A line for each window, such as: Mon-Fri 7:30-16:00. In the site's own time.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.order_fields([*self.columns, "hours"])

    def clean_hours(self) -> list[dict[str, Any]]:
        try:
            return windows_of(self.cleaned_data["hours"])
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error
