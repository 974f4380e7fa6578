"""Lists of upkeep as tables for a file, the same at either door."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from people.exports import Table

from .models import DueWork
from .queries.reliability import Figures


def due(rows: Iterable[DueWork], zone: ZoneInfo) -> Table:
    """Of `queries.due.turns_listed`."""
    head = (
        *("day", "machine", "site", "plan", "minutes", "skill"),
        *("who", "due on", "earliest", "latest", "why"),
    )
    return Table(
        "Due maintenance",
        head,
        (
            (
                one.day,
                one.machine.asset_tag,
                next((str(at.site) for at in one.machine.placements_now), None),  # type: ignore[attr-defined]
                one.plan.name,
                one.plan.minutes,
                one.plan.needs_skill,
                str(one.given_to or one.plan.responsible or ""),
                one.due_on,
                one.earliest_on,
                one.latest_on,
                one.put_off_why or one.because,
            )
            for one in rows
        ),
        zone,
    )


def reliability(rows: Iterable[Figures], zone: ZoneInfo) -> Table:
    """Of `queries.reliability.figures`."""
    head = (
        *("machine", "kind", "days in service", "failures", "days between failures"),
        *("at least", "at most", "hours to fix, middle", "fixed", "of these the first time"),
        *("labour", "parts", "upkeep", "cost by month"),
    )
    return Table(
        "Reliability",
        head,
        (
            (
                one.of.label,
                one.of.kind_name,
                round(one.of.days, 1),
                one.of.failures,
                _rounded(one.between.days if one.between else None),
                _rounded(one.between.least_days if one.between else None),
                _rounded(one.between.most_days if one.between else None),
                _rounded(one.to_fix.middle),
                one.of.fixed,
                one.of.fixed_first,
                one.of.labour,
                one.of.parts,
                one.upkeep_cost,
                one.per_month,
            )
            for one in rows
        ),
        zone,
        money=head[-4:],
    )


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
