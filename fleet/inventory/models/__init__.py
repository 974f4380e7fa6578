"""What the business holds, where, and how it came there."""

from .buying import (
    CostChange,
    OrderLine,
    PurchaseOrder,
    Receipt,
    ReceiptLine,
    Supplier,
    SupplierItem,
)
from .counts import CountLine, StockCount
from .ledger import Movement, MovementLine, StockLevel
from .places import Lot, StockPlace

__all__ = [
    "CostChange",
    "CountLine",
    "Lot",
    "Movement",
    "MovementLine",
    "OrderLine",
    "PurchaseOrder",
    "Receipt",
    "ReceiptLine",
    "StockCount",
    "StockLevel",
    "StockPlace",
    "Supplier",
    "SupplierItem",
]
