"""What is asked and kept about demand."""

from typing import Any

from django import forms

from fleet.demand.models import DemandRules, UnusualDay
from fleet.demand.queries.changes import Ask
from fleet.machines.models import Column, Product, Site

from .base import RowForm


class DemandRulesForm(RowForm):
    model = DemandRules
    columns = (
        "history_days",
        "ahead_days",
        "usual_gap_days",
        "truck_level",
        "leftover_part",
        "changeover_minutes",
        "hour_cost",
        "pay_back_weeks",
    )
    labels = {
        "history_days": "History (days)",
        "ahead_days": "Told ahead (days)",
        "usual_gap_days": "Usual gap between visits (days)",
        "truck_level": "Enough on the truck",
        "leftover_part": "Cost of a leftover",
        "changeover_minutes": "A changeover (minutes)",
        "hour_cost": "An hour of work",
        "pay_back_weeks": "Spread over (weeks)",
    }


class UnusualDayForm(forms.Form):
    day = forms.DateField(widget=forms.DateInput(attrs={"type": "date"}))
    site = forms.ModelChoiceField(
        Site.objects.filter(purpose=Site.Purpose.HOST).order_by("name", "pk"),
        required=False,
        empty_label="every site",
    )
    part = forms.DecimalField(
        label="Of what is usual",
        initial=0,
        help_text=UnusualDay._meta.get_field("part").help_text,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    note = forms.CharField(max_length=100, required=False)


class WhatIfForm(forms.Form):
    """A product and a depth for each column of a machine; what is left alone stays as it is."""

    STAYS, EMPTY = "", "none"

    def __init__(
        self, *args: Any, columns: list[Column], products: list[Product], **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.columns = columns
        self.products = {str(product.pk): product for product in products}
        choices = [
            (self.STAYS, "as it is"),
            *((key, str(product)) for key, product in self.products.items()),
            (self.EMPTY, "leave it empty"),
        ]
        for column in columns:
            label = f"Column {column.position.label}"
            self.fields[f"product_{column.pk}"] = forms.ChoiceField(
                label=label, choices=choices, required=False
            )
            self.fields[f"deep_{column.pk}"] = forms.IntegerField(
                label=f"{label}, products deep",
                required=False,
                min_value=1,
                max_value=column.position.greatest_deep,
                widget=forms.NumberInput(attrs={"inputmode": "numeric", "placeholder": "computed"}),
            )

    def rows(self) -> list[tuple[Column, forms.BoundField, forms.BoundField]]:
        """Each column with its two inputs."""
        return [
            (column, self[f"product_{column.pk}"], self[f"deep_{column.pk}"])
            for column in self.columns
        ]

    def asks(self) -> list[Ask]:
        """What is asked. A depth alone asks about the product that lies there now."""
        found = []
        for column in self.columns:
            product = self.cleaned_data[f"product_{column.pk}"]
            deep = self.cleaned_data[f"deep_{column.pk}"]
            now = next(iter(column.set_ups_now), None)  # type: ignore[attr-defined]
            if product == self.EMPTY:
                found.append(Ask(column, None))
            elif product:
                found.append(Ask(column, self.products[product], deep))
            elif deep and now is not None:
                found.append(Ask(column, now.product, deep))
        return found

    def field_of(self, name: str) -> str | None:
        """The input that an action's `asks.N.product` means, by the order of `asks`."""
        _, _, rest = name.partition(".")
        index, _, what = rest.partition(".")
        asks = self.asks()
        if not index.isdecimal() or int(index) >= len(asks):
            return None
        return f"{'deep' if what == 'deep' else 'product'}_{asks[int(index)].column.pk}"
