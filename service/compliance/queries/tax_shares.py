"""What some rules ask of the whole business: how much of all receipts is at low prices."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from django.db import connection

from service.compute.tax.rules import Rule
from service.compute.tax.split import ZERO

from ..sums.gathering import Basis, Period, arguments, money

BY_PRICE: Final = """
    SELECT k.bulk, l.price_minor, SUM(COALESCE(l.paid_minor, 0))::bigint
    FROM sales_machineinterval i
    JOIN sales_saleinterval l ON l.interval_id = i.id
    JOIN machines_machine m ON m.id = i.machine_id
    JOIN machines_kind k ON k.id = m.kind_id
    WHERE i.ends_at >= %(since)s AND i.ends_at < %(until)s
        AND i.currency IN ('', %(currency)s) AND i.exponent = %(exponent)s
    GROUP BY 1, 2
"""


@dataclass(frozen=True)
class LowShare:
    """The share of all receipts that is at the low prices of some rules, None where it cannot be
    told; `said` names the receipts behind it."""

    share: Decimal | None
    said: str


class LowShares:
    """Shares of a period by the rules that ask for one. Asks once, and only where one does.

    The receipts are those of every machine in every state, by the reads of the period, however the
    report lets receipts fall and whatever it is of: so that the report of one machine goes by the
    same share as that of the business. Receipts without a known price count as dear, and where
    they would decide, there is no share.
    """

    def __init__(self, period: Period, rules: Iterable[Rule], exponent: int) -> None:
        self._period, self._exponent = period, exponent
        self._asking: dict[str, list[Rule]] = defaultdict(list)
        for rule in rules:
            if rule.least_share is not None:
                self._asking[rule.state].append(rule)
        self._sums: dict[tuple[bool, int | None], int] | None = None
        self._known: dict[tuple[str, ...], LowShare] = {}

    def of(self, state: str, day: date, *, bulk: bool, price: Decimal | None) -> Decimal | None:
        """The share that a rule of the state asks for of such a sale; None where none does."""
        asking = [rule for rule in self._asking.get(state, ()) if rule.is_on(day)]
        if not any(_is_for(rule, bulk, price) for rule in asking):
            return None
        keys = tuple(sorted(rule.key for rule in asking))
        if keys not in self._known:
            self._known[keys] = self._share(asking)
        return self._known[keys].share

    @property
    def said(self) -> tuple[str, ...]:
        """What the shares that were asked for stand on."""
        return tuple(
            f"{', '.join(keys)}: {found.said}" for keys, found in sorted(self._known.items())
        )

    def _share(self, asking: list[Rule]) -> LowShare:
        low = unknown = whole = ZERO
        for (bulk, price_minor), minor in self._read().items():
            amount = money(minor, self._exponent)
            whole += amount
            if price_minor is None:
                unknown += amount
            elif any(_is_for(rule, bulk, money(price_minor, self._exponent)) for rule in asking):
                low += amount
        if not whole:
            return LowShare(None, "no receipts of the period's reads to take a share of")
        bounds = [rule.least_share for rule in asking if rule.least_share is not None]
        if any(low / whole < bound <= (low + unknown) / whole for bound in bounds):
            why = f"{low} of {whole} of all receipts, and {unknown} more at a price nobody knows"
            return LowShare(None, why)
        share = low / whole
        percent = (share * 100).quantize(Decimal("0.1"))
        return LowShare(share, f"{low} of {whole} of all receipts by reads, {percent} %")

    def _read(self) -> dict[tuple[bool, int | None], int]:
        if self._sums is None:
            with connection.cursor() as cursor:
                cursor.execute(BY_PRICE, arguments(Basis.READ, self._period, ()))
                self._sums = {(bulk, price): minor for bulk, price, minor in cursor.fetchall()}
        return self._sums


def _is_for(rule: Rule, bulk: bool, price: Decimal | None) -> bool:
    """Whether sales are at the low prices of a rule, whatever is sold."""
    return (rule.bulk is None or rule.bulk is bulk) and (
        price is not None and rule.is_for_price(price)
    )
