"""Planning changeovers, and recording how a column was left."""

from typing import Any

from django import forms
from django.http import QueryDict

from fleet.machines.actions.changeovers import AsLeft, Removed
from fleet.machines.models import (
    Changeover,
    Column,
    DepthProgram,
    Product,
    RemovedProduct,
    SetUp,
)
from people import audit
from people.models import Business

from .shown import ShownForm

NUMBER = {"inputmode": "numeric", "autocomplete": "off"}
MOST_STRAYS = 8
# What the page of a changeover says was there and is to be done. Whether it is in hand or ended is
# the action's to judge, in words of its own.
PLANNED = frozenset(
    {
        "from_set_up",
        "product",
        "deep",
        "front_setting",
        "rear_setting",
        "program",
        "price",
        "orientation",
        "test_vends_asked",
    }
)
AMOUNT = {"inputmode": "decimal", "autocomplete": "off"}


def number(label: str, *, least: int = 0, required: bool = True, **more: Any) -> forms.IntegerField:
    """A whole number that a thumb can type."""
    return forms.IntegerField(
        label=label,
        min_value=least,
        required=required,
        widget=forms.TextInput(attrs=NUMBER),
        **more,
    )


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%d")


class PlanForm(forms.Form):
    """What is said about a plan as a whole."""

    purpose = forms.CharField(
        label="What it is for", max_length=200, help_text="Such as: lemonade comes in a new bottle."
    )
    planned_for = forms.DateField(label="Day", widget=DayInput())
    test_vends = number(
        "Test vends asked", least=1, required=False, help_text="Empty: as many as usual."
    )


class PlanColumnsForm(PlanForm):
    """A plan that puts one product into the columns chosen."""

    price = forms.DecimalField(
        label="Price",
        required=False,
        min_value=0,
        widget=forms.TextInput(attrs=AMOUNT),
        help_text="Empty: the product's usual price.",
    )


class ByHandForm(forms.Form):
    """Settings given by hand instead of the computed ones; all of them or none."""

    deep = number("Products deep", least=1, required=False)
    front_setting = number("Front setting", required=False)
    rear_setting = number("Rear setting", required=False)
    program = forms.ModelChoiceField(DepthProgram.objects.none(), required=False)

    def __init__(self, *args: Any, column: Column, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for side in ("front", "rear"):
            if getattr(column.position, f"{side}_depth_mm") is None:
                del self.fields[f"{side}_setting"]
        self.fields["program"].queryset = column.position.kind.programs.all()  # type: ignore[attr-defined]

    def given(self) -> dict[str, Any]:
        """What a planned line takes; empty when nothing is set by hand."""
        return self.cleaned_data if self.cleaned_data.get("deep") else {}

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        others = [name for name in given if name != "deep" and given[name] not in (None, "")]
        if others and not given.get("deep"):
            self.add_error("deep", "Say how many lie deep, too.")
        return given


class ReplaceForm(PlanForm):
    """One product takes the place of another wherever it is."""

    field_order = ["old", "new", "purpose", "planned_for", "test_vends"]
    old = forms.ModelChoiceField(
        Product.objects.all(), label="Comes out", empty_label="choose a product"
    )
    new = forms.ModelChoiceField(
        Product.objects.filter(sold=True), label="Goes in", empty_label="choose a product"
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("old") and given.get("old") == given.get("new"):
            self.add_error("new", "This is the product that comes out.")
        return given


class AbandonForm(forms.Form):
    reason = forms.CharField(label="Why it is given up", max_length=300)


class AsLeftForm(ShownForm):
    """How the column was left: read off the rails, the board and the door.

    The notches are not filled in beforehand: who only confirms what is planned does not look.
    """

    removed_good = number("Good, back to stock", required=False)
    removed_out_of_date = number("Out of date", required=False)
    removed_damaged = number("Damaged", required=False)
    deep = number("Products deep", least=1)
    front_setting = number("Front spacers at notch")
    rear_setting = number("Rear plate at notch")
    program = forms.ModelChoiceField(
        DepthProgram.objects.none(), label="Depth program", required=False
    )
    price = forms.DecimalField(
        label="Price on the board", min_value=0, widget=forms.TextInput(attrs=AMOUNT)
    )
    orientation = forms.ChoiceField(label="How they lie", choices=Changeover.Orientation.choices)
    picture_matches = forms.BooleanField(
        label="The button's picture shows the product", required=False
    )
    test_vends_made = number("Test vends made")
    test_vends_passed = number("Test vends passed")
    what_happened = forms.CharField(
        label="What happened",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Needed when a test vend failed.",
    )
    mismatch_reason = forms.CharField(
        label="Why it differs from the plan",
        max_length=300,
        required=False,
        help_text="Needed when something was left otherwise than planned.",
    )

    def __init__(self, *args: Any, changeover: Changeover, **kwargs: Any) -> None:
        self.changeover = changeover
        position = changeover.column.position
        kwargs.setdefault("initial", self._first(changeover))
        super().__init__(*args, **kwargs)
        for side in ("front", "rear"):
            if getattr(position, f"{side}_depth_mm") is None or position.style == "spiral":
                del self.fields[f"{side}_setting"]
        if changeover.from_set_up is None:
            for condition in RemovedProduct.Condition:
                del self.fields[f"removed_{condition}"]
        self.fields["program"].queryset = position.kind.programs.all()  # type: ignore[attr-defined]
        self.show(changeover, audit.values(changeover, PLANNED))

    @staticmethod
    def _first(changeover: Changeover) -> dict[str, Any]:
        places = Business.the().currency_exponent
        return {
            "deep": changeover.deep,
            "program": changeover.program_id,
            "price": f"{changeover.price:.{places}f}",
            "orientation": changeover.orientation,
        }

    def as_left(self) -> AsLeft:
        given = self.cleaned_data
        return AsLeft(
            deep=given["deep"],
            price=given["price"],
            front_setting=given.get("front_setting"),
            rear_setting=given.get("rear_setting"),
            program=given["program"],
            orientation=given["orientation"],
        )

    def removed(self) -> list[Removed]:
        before = self.changeover.from_set_up
        if before is None:
            return []
        counts = (
            (condition, self.cleaned_data.get(f"removed_{condition}"))
            for condition in RemovedProduct.Condition.values
        )
        return [Removed(before.product, condition, count) for condition, count in counts if count]


class StrayForm(forms.Form):
    """Another product that lay in the column and came out with it."""

    product = forms.ModelChoiceField(
        Product.objects.order_by("name", "pk"), required=False, empty_label="none"
    )
    good = number("Good, back to stock", required=False)
    out_of_date = number("Out of date", required=False)
    damaged = number("Damaged", required=False)

    def removed(self) -> list[Removed]:
        return [
            Removed(self.cleaned_data["product"], condition, self.cleaned_data[condition])
            for condition in RemovedProduct.Condition.values
            if self.cleaned_data.get(condition)
        ]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        counted = any(given.get(condition) for condition in RemovedProduct.Condition.values)
        if counted and not given.get("product") and "product" not in self.errors:
            self.add_error("product", "Say which product these were.")
        if given.get("product") and not counted and not self.errors:
            self.add_error("good", "Count at least one, or choose no product.")
        return given


class Strays:
    """Lines for other products that came out: one to begin with, one more at each asking."""

    def __init__(self, posted: QueryDict | None) -> None:
        said = posted.get("strays-count", "") if posted else ""
        self.asked = posted is not None and posted.get("add") == "stray"
        count = (int(said) if said.isdecimal() else 1) + self.asked
        self.forms = [self._line(index, posted) for index in range(max(1, min(count, MOST_STRAYS)))]

    def _line(self, index: int, posted: QueryDict | None) -> StrayForm:
        prefix = f"stray-{index}"
        kept: dict[str, Any] = {"prefix": prefix, "use_required_attribute": False}
        if posted is None or not self.asked:
            return StrayForm(posted, **kept)
        # One more line was asked for: what is typed stays, and nothing is found fault with yet.
        first = {name: posted.get(f"{prefix}-{name}") for name in StrayForm.base_fields}
        return StrayForm(initial=first, **kept)

    @property
    def is_open(self) -> bool:
        return self.asked or any(form.is_bound and form.has_changed() for form in self.forms)

    def are_valid(self, usual: Product | None) -> bool:
        """Whether every line is, and none counts what another line or the column's own counts."""
        said = [form.is_valid() for form in self.forms]
        seen = {usual}
        for form in self.forms:
            product = form.cleaned_data.get("product") if form.is_bound else None
            if product in seen and product is not None:
                form.add_error("product", f"{product} is counted above; give one count.")
                said.append(False)
            seen.add(product)
        return all(said)

    def removed(self) -> list[Removed]:
        return [one for form in self.forms for one in form.removed()]


class AsFoundForm(forms.Form):
    """How a column was found set."""

    product = forms.ModelChoiceField(Product.objects.all(), empty_label="choose a product")
    deep = number("Products deep", least=1)
    front_setting = number("Front spacers at notch", required=False)
    rear_setting = number("Rear plate at notch", required=False)
    program = forms.ModelChoiceField(
        DepthProgram.objects.none(), label="Depth program", required=False
    )
    price = forms.DecimalField(
        label="Price on the board", min_value=0, widget=forms.TextInput(attrs=AMOUNT)
    )
    orientation = forms.ChoiceField(label="How they lie", choices=SetUp.Orientation.choices)

    def __init__(self, *args: Any, column: Column, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for side in ("front", "rear"):
            if getattr(column.position, f"{side}_depth_mm") is None:
                del self.fields[f"{side}_setting"]
        self.fields["program"].queryset = column.position.kind.programs.all()  # type: ignore[attr-defined]
