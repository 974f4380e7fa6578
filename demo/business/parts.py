"""Spare parts that the business keeps: what they cost, and how many lie where. All invented."""

from __future__ import annotations

from typing import NamedTuple

SUPPLIER = "Copperfold Machine Parts"
PACKAGE = "Spare part, boxed"


class SparePart(NamedTuple):
    """`on_truck` is what each driver carries, `in_store` what each warehouse keeps beside."""

    code: str
    name: str
    cost_minor: int
    on_truck: int
    in_store: int


PARTS = (
    SparePart("drop-sensor", "Drop sensor, pair", 3_850, 3, 4),
    SparePart("motor", "Column motor with home switch", 2_975, 6, 6),
    SparePart("spacer", "Spacer pair", 640, 10, 30),
    SparePart("coin-gate", "Coin gate and chute", 1_420, 6, 4),
    SparePart("note-belts", "Note path belts, set", 880, 8, 8),
    SparePart("fan", "Condenser fan", 2_490, 3, 3),
    SparePart("gasket", "Door gasket", 4_120, 3, 3),
    SparePart("lamp", "Lamp, door", 1_260, 8, 12),
    SparePart("lock", "Lock cylinder with two keys", 1_875, 3, 4),
    SparePart("reader-cable", "Cable of the card reader", 1_150, 4, 4),
)
