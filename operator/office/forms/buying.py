"""Suppliers, what they sell, orders and deliveries."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.http import QueryDict

from fleet.inventory.actions.orders import Wanted
from fleet.inventory.actions.receipts import Received
from fleet.inventory.models import PurchaseOrder, StockPlace, Supplier, SupplierItem
from fleet.machines.models import Product

from .base import RowForm
from .changeovers import AMOUNT, DayInput, number
from .stock import AtForm, MomentInput, each_valid


def warehouses() -> Any:
    return StockPlace.objects.filter(kind="warehouse", active=True).order_by("name", "pk")


def with_the_only_warehouse(asked: QueryDict) -> QueryDict:
    """What was asked, with the warehouse that goes without saying where there is but one."""
    if asked.get("place"):
        return asked
    only = list(warehouses()[:2])
    found = asked.copy()
    if len(only) == 1:
        found["place"] = str(only[0].pk)
    return found


class SupplierForm(RowForm):
    model = Supplier
    columns = (
        "name",
        "account",
        "contact",
        "phone",
        "email",
        "review_days",
        "line_cost",
        "notes",
        "active",
    )


class ItemForm(RowForm):
    model = SupplierItem
    columns = (
        *("code", "units_per_case", "case_cost", "lead_time_days", "minimum_cases"),
        *("least_days_left", "preferred"),
    )
    labels = {
        "least_days_left": "Days left at delivery, at least",
        "preferred": "Suggestions buy it from them",
    }


class NewItemForm(ItemForm):
    product = forms.ModelChoiceField(
        Product.objects.order_by("name", "pk"), empty_label="choose a product"
    )

    field_order = ["product", *ItemForm.columns]

    def __init__(self, *args: Any, supplier: Supplier, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sold = supplier.items.values("product")
        self.fields["product"].queryset = (  # type: ignore[attr-defined]
            Product.objects.exclude(pk__in=sold).order_by("-sold", "name", "pk")
        )
        self.order_fields(self.field_order)


class NewOrderForm(forms.Form):
    """From whom, and for which warehouse."""

    supplier = forms.ModelChoiceField(
        Supplier.objects.filter(active=True).order_by("name", "pk"),
        empty_label="choose a supplier",
    )
    place = forms.ModelChoiceField(
        StockPlace.objects.none(), label="Delivered to", empty_label="choose a warehouse"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["place"].queryset = warehouses()  # type: ignore[attr-defined]


class OrderForm(forms.Form):
    """What there is to say about a draft as a whole."""

    expected_on = forms.DateField(
        label="Expected on",
        required=False,
        widget=DayInput(),
        help_text="Left empty: when the slowest of its products can be there.",
    )
    note = forms.CharField(max_length=300, required=False)


class WantedLine(forms.Form):
    """How many cases of one product to order."""

    cases = number("Cases", required=False)

    def __init__(self, *args: Any, item: SupplierItem, told: Any = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.item = item
        self.told = told
        self.fields["cases"].widget.attrs["aria-label"] = f"Cases of {item.product}"


class WantedLines:
    """A line for each product that the supplier sells, with what was suggested of it.

    A line that keeps the suggested number of cases keeps the figures it stood on.
    """

    def __init__(
        self,
        items: Sequence[SupplierItem],
        posted: QueryDict | None,
        *,
        cases: dict[int, int],
        told: dict[int, Any],
    ) -> None:
        self.forms = [
            WantedLine(
                posted,
                prefix=f"item-{item.product_id}",
                item=item,
                told=told.get(item.product_id),
                initial={"cases": cases.get(item.product_id) or ""},
                use_required_attribute=False,
            )
            for item in items
        ]

    def are_valid(self) -> bool:
        return each_valid(self.forms)

    def wanted(self) -> list[Wanted]:
        found = []
        for form in self.forms:
            cases = form.cleaned_data.get("cases")
            if cases:
                kept = form.told if form.told and form.told["cases"] == cases else None
                found.append(Wanted(form.item.product, cases, kept))
        return found


class ReasonForm(forms.Form):
    reason = forms.CharField(label="Why", max_length=300)


class DeliveryForm(AtForm):
    """A delivery as a whole."""

    field_order = ["received_at", "delivery_note", "note", "closes"]
    received_at = MomentInput(label="Received at")
    delivery_note = forms.CharField(label="Number on the paper", max_length=60, required=False)
    closes = forms.BooleanField(label="Nothing more of this order will come", required=False)


class DeliveryWithoutOrderForm(DeliveryForm):
    field_order = ["place", "received_at", "delivery_note", "note"]
    place = forms.ModelChoiceField(
        StockPlace.objects.none(), label="Into", empty_label="choose a warehouse"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["closes"]
        self.fields["place"].queryset = warehouses()  # type: ignore[attr-defined]


class ReceivedLine(forms.Form):
    """What came of one product and lot. An empty figure says that none came."""

    units = number("Units taken in", required=False)
    best_before = forms.DateField(
        label="Best before, on the product", required=False, widget=DayInput()
    )
    code = forms.CharField(label="Lot, as printed", max_length=40, required=False)
    stated_best_before = forms.DateField(
        label="Best before, on the paper", required=False, widget=DayInput()
    )
    unit_cost = forms.DecimalField(
        label="Cost of a unit, if it is another",
        required=False,
        min_value=0,
        widget=forms.TextInput(attrs=AMOUNT),
    )
    refused_units = number("Units refused", required=False)
    why = forms.CharField(label="What was amiss", max_length=300, required=False)

    def __init__(
        self, *args: Any, product: Product, owed: int | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.product, self.owed = product, owed

    def received(self) -> Received | None:
        given = self.cleaned_data
        units, refused = given.get("units") or 0, given.get("refused_units") or 0
        if not units and not refused:
            return None
        return Received(
            product=self.product,
            units=units,
            refused_units=refused,
            **{
                name: given[name]
                for name in ("best_before", "code", "stated_best_before", "unit_cost", "why")
            },
        )


class ReceivedLines:
    """A line for each product expected, and a second one for another lot where it is asked for."""

    def __init__(
        self, expected: Sequence[tuple[Product, int | None]], posted: QueryDict | None
    ) -> None:
        asked = posted.get("add", "") if posted else ""
        self.asked = bool(asked)
        self.forms: list[ReceivedLine] = []
        for product, owed in expected:
            said = posted.get(f"lots-{product.pk}", "") if posted else ""
            count = int(said) if said.isascii() and said.isdecimal() else 1
            count = max(1, min(count + (asked == str(product.pk)), 9))
            for number_of in range(count):
                self.forms.append(self._line(product, owed, number_of, posted))
            for form in self.forms[-count:]:
                form.count = count  # type: ignore[attr-defined]

    def _line(
        self, product: Product, owed: int | None, index: int, posted: QueryDict | None
    ) -> ReceivedLine:
        prefix = f"came-{product.pk}-{index}"
        kept: dict[str, Any] = {
            "prefix": prefix,
            "product": product,
            "owed": owed if index == 0 else None,
            "use_required_attribute": False,
        }
        if posted is None or not self.asked:
            form = ReceivedLine(posted, **kept)
        else:
            first = {name: posted.get(f"{prefix}-{name}") for name in ReceivedLine.base_fields}
            form = ReceivedLine(initial=first, **kept)
        form.is_first = index == 0  # type: ignore[attr-defined]
        return form

    def are_valid(self) -> bool:
        return each_valid(self.forms)

    def received(self) -> list[Received]:
        return [one for form in self.forms if (one := form.received()) is not None]


class OrderFilter(forms.Form):
    state = forms.ChoiceField(
        choices=[("", "open ones"), *PurchaseOrder.State.choices], required=False
    )
    supplier = forms.ModelChoiceField(
        Supplier.objects.order_by("name", "pk"), required=False, empty_label="any supplier"
    )
