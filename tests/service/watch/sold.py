"""Machines whose counters say that something is wrong, and others whose counters do not."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from fleet.inventory.actions import counts, ledger, moves, places
from fleet.inventory.actions.counts import ColumnCount
from fleet.inventory.actions.moves import InColumn
from fleet.inventory.models import StockPlace
from fleet.machines.models import Column, Machine
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.actions.settling import settle_counts
from people.models import Person
from service.tickets.actions import closing
from service.tickets.actions import moves as ticket_moves
from service.tickets.models import Cause, Ticket, WorkDone
from service.watch.actions import looking
from service.watch.models import Finding, Look
from tests.fleet.demand.sellers import NEW_YORK, RATES, column
from tests.fleet.sales.meter import Meter

Change = Callable[[Meter, int], None]
"""What happens to a meter before a read so many days before the end."""


@dataclass
class Seller:
    """A machine that sells by its meter from day to day, and is read each day."""

    machine: Machine
    until: datetime
    days: int = 49
    rates: dict[str, float] = field(default_factory=lambda: dict(RATES))
    price: int = 175
    seed: int = 20260302
    meter: Meter = field(init=False)

    def __post_init__(self) -> None:
        tag = self.machine.asset_tag
        self.meter = Meter.with_buttons(
            *self.rates, price=self.price, asset=tag, serial=f"S{tag}", board=f"B{tag}"
        )
        self.draw = np.random.default_rng(self.seed + sum(map(ord, tag)))

    def sell(
        self,
        *,
        stops: dict[str, int] | None = None,
        closed: int = 0,
        happens: Change | None = None,
    ) -> "Seller":
        """Sell Poisson numbers a day; the files are handed in together at the end.

        `stops`: by selection, days before the end from which on nothing of it is sold. `closed`:
        days before the end from which on nothing at all is.
        """
        start = self.until - timedelta(days=self.days)
        files = [self.meter.read(local(start))]
        for day in range(1, self.days + 1):
            left = self.days - day
            for code, rate in self.rates.items():
                units = int(self.draw.poisson(rate))
                if left >= max((stops or {}).get(code, 0), closed):
                    self.meter.sell(code, cash=units)
            if happens is not None:
                happens(self.meter, left)
            files.append(self.meter.read(local(start + timedelta(days=day))))
        receive(
            files=[ReceivedFile("", one) for one in files],
            source="api",
            actor=None,
            now=self.until,
        )
        return self

    def read(self, at: datetime, **sold: int) -> datetime:
        """Sell so many and read; handed in two minutes later. `sold`: by selection, as c1=3."""
        for code, units in sold.items():
            self.meter.sell(code.removeprefix("c"), cash=units)
        hand_in(self.meter, at)
        return at


def local(at: datetime) -> datetime:
    """A moment by the machine's own clock."""
    return at.astimezone(NEW_YORK).replace(tzinfo=None)


def hand_in(meter: Meter, at: datetime, off: timedelta = timedelta()) -> None:
    """A read taken now and received two minutes later; the machine's clock is `off` ahead."""
    receive(
        files=[ReceivedFile("", meter.read(local(at) + off))],
        source="api",
        actor=None,
        now=at + timedelta(minutes=2),
    )


@dataclass
class Stocked:
    """A column that is counted and filled up each week while its machine sells by its meter.

    `extra`: units too many that went in a week, by weeks before the end; `always`: in each.
    """

    seller: Seller
    actor: Person
    label: str = "1"
    full: int = 20

    def sell(
        self,
        *,
        weeks: int,
        a_week: int,
        extra: dict[int, int] | None = None,
        always: int = 0,
        new_board: int | None = None,
    ) -> None:
        """`new_board`: weeks before the end in which, all being sold, the board is exchanged."""
        machine = self.seller.machine
        held = column(machine, self.label)
        start = self.seller.until - timedelta(weeks=weeks)
        truck = self.truck(held, start)
        files = [self.seller.meter.read(local(start))]
        self.visit(held, truck, at=start, counted=0)
        for week in range(1, weeks + 1):
            at = start + timedelta(weeks=week)
            gone = a_week + (extra or {}).get(weeks - week, always)
            self.seller.meter.sell(self.label, cash=a_week)
            if new_board == weeks - week:
                self.seller.meter.new_board("ANEW1")
            files.append(self.seller.meter.read(local(at)))
            self.visit(held, truck, at=at, counted=max(self.full - gone, 0))
        receive(
            files=[ReceivedFile("", one) for one in files],
            source="api",
            actor=None,
            now=self.seller.until,
        )
        settle_counts(machine, self.seller.until)

    def visit(self, held: Column, truck: StockPlace, *, at: datetime, counted: int) -> None:
        given: dict[str, Any] = {"actor": self.actor, "now": at + timedelta(minutes=5)}
        counts.count_columns(
            counts=[ColumnCount(held, counted)], counted_at=at + timedelta(minutes=2), **given
        )
        if counted < self.full:
            product = held.set_ups.get(ends_at=None).product
            moves.fill_columns(
                fills=[InColumn(held, product, self.full - counted)],
                truck=truck,
                happened_at=at + timedelta(minutes=4),
                **given,
            )

    def truck(self, held: Column, start: datetime) -> StockPlace:
        truck = places.truck("Van of the watch")
        product = held.set_ups.get(ends_at=None).product
        ledger.post(
            reason="opening",
            lines=[ledger.Line(product, 2000, places.the("unexplained"), truck, None)],
            actor=self.actor,
            happened_at=start - timedelta(days=1),
            now=start,
        )
        return truck


def looked(now: datetime, over: str = Look.Over.ASKED) -> Look:
    """A look a little after the last read: over the whole fleet unless told otherwise."""
    return looking.look(now=now + timedelta(minutes=30), over=over)


def live(*kinds: str) -> list[Finding]:
    """Findings that are open or have a ticket, the strongest first."""
    rows = Finding.objects.filter(state__in=["open", "ticketed"])
    if kinds:
        rows = rows.filter(kind__in=kinds)
    return list(rows.select_related("machine", "column__position", "ticket"))


def mend(ticket: Ticket, cause: str, *, by: Person, at: datetime) -> WorkDone:
    """Somebody goes there and closes the ticket with what it was."""
    ticket_moves.give(ticket=ticket, to=by, actor=by, now=at - timedelta(hours=1))
    return closing.close(
        ticket=ticket,
        cause=Cause.objects.get(code=cause),
        work="seen to",
        minutes=20,
        actor=by,
        now=at,
    )
