"""Units by lot, in one place, and the order in which they leave it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import NamedTuple


class Lot(NamedTuple):
    """Units of a product made together: one code, one best-before date."""

    product_code: str
    code: str
    best_before: date


Lines = tuple[tuple[Lot, int], ...]


def units(lines: Iterable[tuple[Lot, int]]) -> int:
    return sum(count for _, count in lines)


class Pile:
    """What lies in a warehouse or on a truck. First expired goes first out."""

    def __init__(self) -> None:
        self._lots: dict[str, dict[Lot, int]] = defaultdict(dict)

    def products(self) -> list[str]:
        return sorted(code for code, lots in self._lots.items() if lots)

    def units(self, product_code: str) -> int:
        return sum(self._lots[product_code].values())

    def put(self, lines: Iterable[tuple[Lot, int]]) -> None:
        for lot, count in lines:
            lots = self._lots[lot.product_code]
            lots[lot] = lots.get(lot, 0) + count

    def take(self, product_code: str, count: int) -> Lines:
        """As many as asked for, or as there are."""
        lots = self._lots[product_code]
        taken: list[tuple[Lot, int]] = []
        for lot in sorted(lots, key=lambda lot: (lot.best_before, lot.code)):
            if count == 0:
                break
            part = min(count, lots[lot])
            taken.append((lot, part))
            count -= part
            lots[lot] -= part
            if not lots[lot]:
                del lots[lot]
        return tuple(taken)

    def take_lots(self, lines: Iterable[tuple[Lot, int]]) -> Lines:
        """These lots and counts. Raises ValueError when they are not there."""
        taken = tuple(lines)
        for lot, count in taken:
            lots = self._lots[lot.product_code]
            if lots.get(lot, 0) < count:
                raise ValueError(f"{count} of {lot} asked for, {lots.get(lot, 0)} there")
            lots[lot] -= count
            if not lots[lot]:
                del lots[lot]
        return taken

    def out_of_date(self, day: date) -> Lines:
        """What is past its best-before date on a day; it stays until it is taken."""
        return tuple((lot, count) for lot, count in self.lines() if lot.best_before < day)

    def lines(self) -> Lines:
        return tuple(
            line for code in sorted(self._lots) for line in sorted(self._lots[code].items())
        )
