"""The card reader: it counts its own sales, apart from the board's."""

from __future__ import annotations

from demo.simulator.tallies import Sold


class CardReader:
    def __init__(self, serial: str) -> None:
        self.serial = serial
        self.sales = Sold()
        self.discounts = Sold()

    def reset(self) -> None:
        self.sales.reset()
        self.discounts.reset()
