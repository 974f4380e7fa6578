"""An amount of money in words, alike on every page, paper and letter."""

from decimal import Decimal

from .models import Business

SIGNS = {"USD": "$", "EUR": "€", "GBP": "£", "CAD": "C$"}


def said(amount: Decimal, business: Business) -> str:
    """An amount in the business's currency, to its smallest unit: `$2.25`, `2.25 SEK`."""
    figures = f"{abs(amount):,.{business.currency_exponent}f}"
    minus = "−" if amount < 0 else ""
    sign = SIGNS.get(business.currency)
    return f"{minus}{sign}{figures}" if sign else f"{minus}{figures} {business.currency}"
