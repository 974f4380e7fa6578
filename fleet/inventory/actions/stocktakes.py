"""A count of a warehouse or truck as somebody writes it down: by product, by date where told."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from fleet.machines.models import Product
from people.errors import Unacceptable
from people.models import Person

from ..models import Lot, StockCount, StockPlace
from .counts import count_place
from .lots import lot_of


@dataclass(frozen=True)
class Found:
    """So many of a product; of one lot where its code or date was read."""

    product: Product
    counted: int
    code: str = ""
    best_before: date | None = None


@transaction.atomic
def take_stock(
    *,
    place: StockPlace,
    found: Sequence[Found],
    counted_at: datetime,
    actor: Person,
    now: datetime,
    whole: bool = False,
    note: str = "",
    key: str | None = None,
) -> StockCount:
    """Record a count of a warehouse, a truck or a column, with new lots where they are read.

    With `whole` whatever is not told was not there. Raises as `count_place`, and Unacceptable when
    a product and lot stand in it twice.
    """
    counted: dict[tuple[Product, Lot | None], int] = {}
    wrong: dict[str, str] = {}
    for number, one in enumerate(found):
        entry = (one.product, lot_of(one.product, one.code, one.best_before))
        if entry in counted:
            wrong[f"lines.{number}.product"] = (
                f"{one.product}{f', {entry[1]},' if entry[1] else ''} stands in the count twice; "
                "give it once, with the sum"
            )
        counted[entry] = one.counted
    if wrong:
        raise Unacceptable("; ".join(wrong.values()), fields=wrong)
    return count_place(
        place=place,
        counted=counted,
        counted_at=counted_at,
        actor=actor,
        now=now,
        whole=whole,
        note=note,
        key=key,
    )
