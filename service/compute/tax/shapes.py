"""The small set of words that rules of sales tax are written in."""

from enum import StrEnum
from typing import Final


class Shape(StrEnum):
    """How a rule gets from receipts or cost to the tax."""

    INCLUDED = "included"
    SHARE_INCLUDED = "share_included"
    SHARE_FROM_EXEMPT = "share_from_exempt"
    PERCENT_OF_GROSS = "percent_of_gross"
    DIVISOR = "divisor"
    COST = "cost"
    DECAL = "decal"
    EXEMPT = "exempt"
    BRACKETS = "brackets"

    @property
    def words(self) -> str:
        return _SHAPE_WORDS[self]


_SHAPE_WORDS: Final = {
    Shape.INCLUDED: "tax is in the price: receipts / (1 + rate) is taxable, the rest is tax",
    Shape.SHARE_INCLUDED: "a share of receipts is taxable and tax is in the price: "
    "share x receipts / (1 + share x rate)",
    Shape.SHARE_FROM_EXEMPT: "a share of receipts is taxable; its tax is taken off the other part",
    Shape.PERCENT_OF_GROSS: "a share of receipts, all of them where the share is 1, is taxable "
    "and the operator pays the tax on it",
    Shape.DIVISOR: "receipts / divisor of the total rate is taxable, the rest is tax",
    Shape.COST: "what the goods cost, with a mark-up, is taxable instead of receipts",
    Shape.DECAL: "a yearly decal a machine stands for the tax",
    Shape.EXEMPT: "no tax is due",
    Shape.BRACKETS: "tax is in the price, of each sale by a table of prices and tax",
}
NEEDS_SHARE: Final = {Shape.SHARE_INCLUDED, Shape.SHARE_FROM_EXEMPT, Shape.PERCENT_OF_GROSS}


class Takes(StrEnum):
    """Which payment a machine takes."""

    CASH = "cash"
    ALL = "all"
    CASHLESS = "cashless"


class RateKind(StrEnum):
    """Which column of a jurisdiction's rates applies."""

    GENERAL = "general"
    FOOD = "food"
