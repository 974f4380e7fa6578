"""Sale intervals of a period that hold something back: the machine, its columns, and where each is
decided."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db.models import Prefetch, Q

from fleet.sales.models import MachineInterval, SaleInterval
from people.models import Business

from ..sums.gathering import Period

MOST_NAMED: Final = 20


@dataclass(frozen=True)
class Undecided:
    """An interval that does not add up, or waits for a decision.

    It is decided at the read that ends it, `read_id`. `columns` are those of unknown sales,
    or selections where no column is; `is_every` says that it is all of them.
    """

    interval_id: int
    read_id: int
    machine_id: int
    asset_tag: str
    starts_at: datetime
    ends_at: datetime
    columns: tuple[str, ...]
    is_every: bool
    awaits_decision: bool
    why: tuple[str, ...]

    @property
    def columns_said(self) -> str:
        if self.is_every:
            return "every column"
        return f"columns {', '.join(self.columns)}" if self.columns else "the machine's totals"

    def __str__(self) -> str:
        zone = Business.the().time_zone
        since, until = (
            f"{one.astimezone(zone):%Y-%m-%d %H:%M}" for one in (self.starts_at, self.ends_at)
        )
        state = "waits for a decision" if self.awaits_decision else "does not add up"
        return f"{self.asset_tag}, {self.columns_said}, {since} to {until}: {state}."


@dataclass(frozen=True)
class AllUndecided:
    """How many intervals hold something back, and the first MOST_NAMED of them."""

    number: int = 0
    named: tuple[Undecided, ...] = ()

    @property
    def left_out(self) -> int:
        return self.number - len(self.named)

    @property
    def said(self) -> tuple[str, ...]:
        """As a report tells it: what it means, then one after the other."""
        if not self.number:
            return ()
        many = self.number > 1
        first = (
            f"{self.number} interval{'s do' if many else ' does'} not add up or "
            f"wait{'' if many else 's'} for a decision; what {'they hold' if many else 'it holds'} "
            "back is not in here until it is decided."
        )
        more = (f"And {self.left_out} more of them.",) if self.left_out else ()
        return (first, *map(str, self.named), *more)


def undecided(period: Period, machines: Collection[int] | None = None) -> AllUndecided:
    """Intervals ended by a read of the period that hold something back. At most three queries."""
    found = MachineInterval.objects.filter(
        Q(sum_agrees=False) | Q(awaits_decision=True),
        ends_at__gte=period.since,
        ends_at__lt=period.until,
    )
    if machines is not None:
        found = found.filter(machine__in=machines)
    number = found.count()
    if not number:
        return AllUndecided()
    lines = SaleInterval.objects.select_related("column__position").order_by(
        "column__position__order", "pk"
    )
    rows = (
        found.select_related("machine")
        .prefetch_related(Prefetch("lines", queryset=lines))
        .order_by("ends_at", "pk")
    )
    return AllUndecided(number, tuple(_named(row) for row in rows[:MOST_NAMED]))


def _named(row: MachineInterval) -> Undecided:
    lines = [line for line in row.lines.all() if not line.is_unassigned]
    unknown = [line for line in lines if line.paid_units is None or line.paid_minor is None]
    names = [
        str(line.column.position.label) if line.column else line.selection_code for line in unknown
    ]
    return Undecided(
        interval_id=row.pk,
        read_id=row.to_read_id,
        machine_id=row.machine_id,
        asset_tag=row.machine.asset_tag,
        starts_at=row.starts_at,
        ends_at=row.ends_at,
        columns=tuple(dict.fromkeys(names)),
        is_every=len(unknown) == len(lines) > 0,
        awaits_decision=row.awaits_decision,
        why=tuple(dict.fromkeys(map(str, row.why_not))),
    )
