"""What the business holds, where, and how it came there."""

from .counts import CountLine, StockCount
from .ledger import Movement, MovementLine, StockLevel
from .places import Lot, StockPlace

__all__ = [
    "CountLine",
    "Lot",
    "Movement",
    "MovementLine",
    "StockCount",
    "StockLevel",
    "StockPlace",
]
