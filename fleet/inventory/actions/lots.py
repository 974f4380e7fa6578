"""Lots by what is printed on them."""

from datetime import date

from fleet.machines.models import Product

from ..models import Lot


def lot_of(product: Product, code: str = "", best_before: date | None = None) -> Lot | None:
    """The lot with this code and date, made with the first thing that bears them; None for neither.

    Two who meet the same new lot at once get the same row.
    """
    if not code and best_before is None:
        return None
    return Lot.objects.get_or_create(product=product, code=code, best_before=best_before)[0]
