"""The readings that a plan asks for, as they stand in its row, and units as people say them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Final

from people.errors import Unacceptable

from .models.work import UNITS, Reading

FAHRENHEIT: Final = "°F"
CELSIUS: Final = "°C"
POSSIBLE: Final[dict[str, tuple[Decimal, Decimal]]] = {
    Reading.What.CABINET_C: (Decimal(-40), Decimal(60)),
    Reading.What.PRODUCT_C: (Decimal(-40), Decimal(100)),
    Reading.What.ROOM_C: (Decimal(-40), Decimal(60)),
    Reading.What.COMPRESSOR_A: (Decimal(0), Decimal(30)),
    Reading.What.SUPPLY_V: (Decimal(0), Decimal(500)),
    Reading.What.LEVEL_MM_M: (Decimal(0), Decimal(200)),
}
"""Beyond these a value was mistyped or has another unit; assumed."""


@dataclass(frozen=True)
class Asked:
    """One reading to take, with the band it usually lies in, in the reading's own unit."""

    what: str
    least: Decimal | None = None
    most: Decimal | None = None

    @property
    def words(self) -> str:
        return Reading.What(self.what).label

    @property
    def unit(self) -> str:
        return UNITS[self.what]

    def usual(self, value: Decimal) -> bool | None:
        """Whether a value lies in the band; None when there is none."""
        if self.least is None and self.most is None:
            return None
        return (self.least is None or value >= self.least) and (
            self.most is None or value <= self.most
        )


def asked_of(rows: Sequence[Any]) -> tuple[Asked, ...]:
    """What a plan's `readings_asked` say. Raises Unacceptable for what it does not understand."""
    found: list[Asked] = []
    for row in rows:
        if not isinstance(row, dict) or row.get("what") not in UNITS:
            known = ", ".join(UNITS)
            raise _not_asked(f"a reading names what is read, one of {known}")
        if set(row) - {"what", "least", "most"}:
            raise _not_asked("a reading has what, least and most, and nothing else")
        one = Asked(row["what"], _figure(row.get("least")), _figure(row.get("most")))
        if any(other.what == one.what for other in found):
            raise _not_asked(f"{one.words} stands twice")
        if one.least is not None and one.most is not None and one.least > one.most:
            raise _not_asked(f"{one.words}: the least, {one.least}, is above the most, {one.most}")
        found.append(one)
    return tuple(found)


def in_own_unit(what: str, value: Decimal, unit: str) -> Decimal:
    """A value in the unit in which its kind of reading is kept, to a hundredth.

    Degrees Fahrenheit are turned into Celsius by (F - 32) x 5 / 9. Raises Unacceptable for a kind
    that nobody reads, another unit, and a value that cannot be.
    """
    if what not in UNITS:
        raise _not_read("what", f"{what!r} is not read; one of {', '.join(UNITS)} is")
    own = UNITS[what]
    if unit == FAHRENHEIT and own == CELSIUS:
        value = (value - 32) * 5 / 9
    elif unit not in ("", own):
        others = f" or {FAHRENHEIT}" if own == CELSIUS else ""
        raise _not_read("unit", f"{unit} is no unit of the {_words(what)}; give {own}{others}")
    if not value.is_finite():
        raise _not_read("value", f"the {_words(what)} has to be a number")
    value = value.quantize(Decimal("0.01"))
    least, most = POSSIBLE[what]
    if not least <= value <= most:
        raise _not_read(
            "value", f"{_words(what)} {value} {own} cannot be; it lies from {least} to {most} {own}"
        )
    return value


def _words(what: str) -> str:
    return Reading.What(what).label


def _figure(value: Any) -> Decimal | None:
    if value is None or value == "":
        return None
    try:
        figure = Decimal(str(value))
    except InvalidOperation as error:
        raise _not_asked(f"{value!r} is not a number") from error
    if not figure.is_finite():
        raise _not_asked(f"{value!r} is not a number")
    return figure


def _not_asked(message: str) -> Unacceptable:
    return Unacceptable(f"readings: {message}", fields={"readings_asked": message})


def _not_read(name: str, message: str) -> Unacceptable:
    return Unacceptable(message, fields={name: message})
