"""The standard's segments and elements, looked up by code: type, period, width, modulus.

``PA203`` is segment PA2, element 03; ``CA1103`` is CA11, element 03.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Literal

from fleet.compute.audit.segments import ELEMENTS_OF

ElementType = Literal["AN", "N0", "Nc", "DT", "TM", "ID"]
Period = Literal["I", "R"]

# Widths where our source states none: the usual ones of the same kind of counter.
_USUAL_DIGITS = {("Nc", "I"): 8, ("Nc", "R"): 8, ("N0", "I"): 8, ("N0", "R"): 6}
_FORM = re.compile(r"(?P<period>[IR]?)(?P<type>[$#]|AN|N|DT|TM|ID)(?P<digits>\d*)")
_TYPES: dict[str, ElementType] = {
    "$": "Nc",
    "#": "N0",
    "AN": "AN",
    "N": "N0",
    "DT": "DT",
    "TM": "TM",
    "ID": "ID",
}


@dataclass(frozen=True, slots=True)
class Element:
    """One element. `period` is I (never reset) or R (since last reset), None for no counter.

    `digits` is the greatest width stated by the standard, None where our source does not say.
    `group` names the quantity that several elements share, as "paid" in PA201 to PA204.
    """

    code: str
    segment: str
    position: int
    group: str
    type: ElementType
    period: Period | None = None
    digits: int | None = None

    @property
    def is_money(self) -> bool:
        """Whether the integer is money in minor units."""
        return self.type == "Nc"

    @property
    def is_counter(self) -> bool:
        """Whether it counts up, since initialisation or since the last reset."""
        return self.period is not None

    @property
    def name(self) -> str:
        """As "paid_count_ever" or "asset"; unique within its segment."""
        if self.period is None:
            return self.group
        what = "value" if self.is_money else "count"
        return f"{self.group}_{what}_{'ever' if self.period == 'I' else 'since_reset'}"

    @property
    def modulus(self) -> int | None:
        """The counter's next value after all nines is 0: ten to its width. None for no counter."""
        if self.period is None:
            return None
        digits = self.digits or _USUAL_DIGITS[self.type, self.period]
        return int(10**digits)


def _read(segment: str, text: str) -> tuple[Element, ...]:
    elements = []
    for position, entry in enumerate(filter(None, text.split("; ")), start=1):
        if entry == "-":
            continue
        group, form = entry.split(" ")
        match = _FORM.fullmatch(form)
        if match is None:
            raise ValueError(f"{segment}, element {position:02d}: unknown form {form!r}")
        period: Period | None = None
        if match["period"]:
            period = "I" if match["period"] == "I" else "R"
        elements.append(
            Element(
                code=f"{segment}{position:02d}",
                segment=segment,
                position=position,
                group=group,
                type=_TYPES[match["type"]],
                period=period,
                digits=int(match["digits"]) if match["digits"] else None,
            )
        )
    return tuple(elements)


SEGMENTS: Mapping[str, tuple[Element, ...]] = MappingProxyType(
    {segment: _read(segment, text) for segment, text in ELEMENTS_OF.items()}
)
ELEMENTS: Mapping[str, Element] = MappingProxyType(
    {element.code: element for elements in SEGMENTS.values() for element in elements}
)


def modulus(code: str) -> int:
    """Ten to the width of a counter element, as 100000000 for "PA201".

    Raises LookupError for a code that is no counter of the standard.
    """
    element = ELEMENTS.get(code)
    if element is None or element.modulus is None:
        raise LookupError(f"{code} is not a counter of the audit standard")
    return element.modulus


@cache
def counter_code(segment: str, group: str, measure: str, period: Period = "I") -> str:
    """The code of a segment's counter: ("PA2", "paid", "count") is "PA201".

    `measure` is "count" or "value". Raises LookupError if the segment has none such.
    """
    for element in SEGMENTS.get(segment, ()):
        if (
            element.group == group
            and element.period == period
            and element.is_money == (measure == "value")
        ):
            return element.code
    raise LookupError(f"segment {segment} has no {group} {measure} of period {period}")
