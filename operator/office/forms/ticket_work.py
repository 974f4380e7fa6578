"""The work that closes a ticket: its cause, parts and tests, and how a touched column was left."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from fleet.inventory.models import StockPlace
from fleet.machines.models import DepthProgram, Product, SetUp
from service.tickets.actions.closing import ColumnLeft, Part
from service.tickets.models import Cause

from .changeovers import AMOUNT, number
from .tickets import TicketActForm, long_text

PART_LINES = 3


class CloseForm(TicketActForm):
    """The work that ends a ticket; how a touched column was left, where one was."""

    verb, button = "close", "Close the ticket"
    cause = forms.ModelChoiceField(
        Cause.objects.filter(active=True), label="What it was", empty_label="choose the cause"
    )
    work = long_text("What was done", required=False)
    minutes = number("Minutes at the machine")
    place = forms.ModelChoiceField(
        StockPlace.objects.none(),
        label="Parts came from",
        required=False,
        empty_label="no parts used",
    )
    test_vends_made = number("Test vends made", required=False)
    test_vends_passed = number("Test vends passed", required=False)
    deep = number("Products deep", least=1, required=False)
    front_setting = number("Front spacers at notch", required=False)
    rear_setting = number("Rear plate at notch", required=False)
    program = forms.ModelChoiceField(
        DepthProgram.objects.none(),
        label="Depth program",
        required=False,
        empty_label="none",
    )
    price = forms.DecimalField(
        label="Price on the board",
        min_value=0,
        required=False,
        widget=forms.TextInput(attrs=AMOUNT),
    )
    orientation = forms.ChoiceField(
        label="How they lie",
        choices=[("", "as usual"), *SetUp.Orientation.choices],
        required=False,
    )
    picture_matches = forms.BooleanField(
        label="The button's picture shows the product", required=False, initial=True
    )
    what_happened = long_text(
        "What happened", rows=2, required=False, help_text="Needed when a test vend failed."
    )
    reason = forms.CharField(
        label="Why it differs from the plan, or had fewer test vends",
        max_length=300,
        required=False,
    )
    LEFT = ("deep", "front_setting", "rear_setting", "program", "price", "orientation")
    OF_LEFT = (*LEFT, "picture_matches", "what_happened", "reason")

    def __init__(self, *args: Any, parts: Sequence[Product] | None = None, **kwargs: Any) -> None:
        self.parts = parts
        super().__init__(*args, **kwargs)

    def build(self) -> None:
        place: Any = self.fields["place"]
        place.queryset = StockPlace.objects.filter(
            active=True, kind__in=[StockPlace.Kind.TRUCK, StockPlace.Kind.WAREHOUSE]
        ).order_by("kind", "name", "pk")
        offered = [(one.pk, one.name) for one in self._offered()]
        for index in range(PART_LINES if offered else 0):
            self.fields[f"part_{index}"] = forms.TypedChoiceField(
                label=f"Part {index + 1}",
                choices=[("", "none"), *offered],
                coerce=int,
                empty_value=None,
                required=False,
            )
            self.fields[f"part_units_{index}"] = number("Units", required=False)
        if not offered:
            del self.fields["place"]
        column = self.ticket.column
        if column is None:
            for name in self.OF_LEFT:
                del self.fields[name]
            return
        for side in ("front", "rear"):
            half = getattr(column.position, f"{side}_depth_mm")
            if half is None or column.position.style == "spiral":
                del self.fields[f"{side}_setting"]
        programs: Any = self.fields["program"]
        programs.queryset = column.position.kind.programs.all()

    def _offered(self) -> Sequence[Product]:
        if self.parts is None:
            self.parts = list(Product.objects.filter(form=Product.Form.PART).order_by("name", "pk"))
        return self.parts

    @property
    def part_lines(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        names = [name for name in self.fields if name.startswith("part_units_")]
        return [(self[name.replace("_units", "")], self[name]) for name in names]

    @property
    def left_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.OF_LEFT if name in self.fields]

    @property
    def says_left(self) -> bool:
        """Whether anything is said about how the column was left."""
        said = getattr(self, "cleaned_data", {})
        return any(said.get(name) not in (None, "") for name in self.LEFT)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for index in range(PART_LINES):
            part, units = given.get(f"part_{index}"), given.get(f"part_units_{index}")
            if part and not units:
                self.add_error(f"part_units_{index}", "Say how many stayed in the machine.")
            if units and not part:
                self.add_error(f"part_{index}", "Say which part these were.")
        if self.says_left:
            for name in ("deep", "price", "front_setting", "rear_setting"):
                if name in self.fields and given.get(name) is None and name not in self.errors:
                    self.add_error(name, "Read it off, too: all of the setting or none of it.")
        return given

    def given(self) -> dict[str, Any]:
        said = self.cleaned_data
        products = {one.pk: one for one in self._offered()}
        lines = [(said.get(f"part_{n}"), said.get(f"part_units_{n}")) for n in range(PART_LINES)]
        return {
            "cause": said["cause"],
            "work": said["work"],
            "minutes": said["minutes"],
            "parts": [Part(products[part], units) for part, units in lines if part and units],
            "place": said.get("place"),
            "test_vends_made": said["test_vends_made"] or 0,
            "test_vends_passed": said["test_vends_passed"] or 0,
            "left": self._left(said),
        }

    def _left(self, said: Mapping[str, Any]) -> ColumnLeft | None:
        column = self.ticket.column
        if column is None or not self.says_left:
            return None
        return ColumnLeft(
            column=column,
            deep=said["deep"],
            price=said["price"],
            front_setting=said.get("front_setting"),
            rear_setting=said.get("rear_setting"),
            program=said["program"],
            orientation=said["orientation"] or None,
            picture_matches=said["picture_matches"],
            what_happened=said["what_happened"],
            reason=said["reason"],
        )
