"""Lists of cash as tables for a file, the same at either door."""

from collections.abc import Iterable, Sequence
from zoneinfo import ZoneInfo

from people.exports import Cell, Table

from .models import Banking
from .queries.differences import Difference, Differences


def over_and_short(found: Differences, zone: ZoneInfo) -> Table:
    """Subjects over the period, those with the most missing first."""
    head = (
        *(found.by, "bags compared", "bags not compared", "expected", "counted", "difference"),
        *("short beyond chance", "over beyond chance", "repeatedly short", "chance"),
    )
    return Table(
        f"Over and short by {found.by}",
        head,
        (
            (
                *(one.label, one.bags, one.left_out, one.expected, one.counted, one.difference),
                *(one.short, one.over, one.repeated.repeated, one.repeated.said),
            )
            for one in found.subjects
        ),
        zone,
        money=("expected", "counted", "difference"),
    )


def bags_compared(found: Differences, zone: ZoneInfo) -> Table:
    """Every bag of the period beside what it should hold, and by what."""
    head = (
        *("sealed at", "seal", "machine", "expected", "by", "exact", "counted", "difference"),
        *("chance explains", "verdict", "basis"),
    )
    return Table(
        "Bags against what was expected",
        head,
        (_bag(one) for one in found.bags),
        zone,
        money=("expected", "counted", "difference", "chance explains"),
    )


def _bag(one: Difference) -> Sequence[Cell]:
    told = one.bag.expected
    verdict = "not compared"
    if one.judged is not None:
        verdict = "short" if one.judged.short else "over" if one.judged.over else "by chance"
    return (
        *(one.bag.sealed_at, " ".join(one.bag.together), one.bag.asset_tag, told.amount),
        *(str(told.basis), told.exact, one.bag.counted, one.bag.difference, one.band.most),
        *(verdict, told.said),
    )


def bankings(rows: Iterable[Banking], zone: ZoneInfo) -> Table:
    """Of `queries.bankings.bankings_whole`."""
    head = (
        *("banked at", "slip", "bags", "held by the counts", "on the slip", "confirmed"),
        *("confirmed on", "confirmed less slip", "taken back", "by", "note"),
    )
    return Table(
        "Bankings",
        head,
        (
            (
                *(one.banked_at, one.slip_number, len(one.banked.all()), one.held, one.amount),
                *(one.confirmed, one.confirmed_on, one.off),
                *(one.taken_back_at is not None, one.by.name, one.note),
            )
            for one in rows
        ),
        zone,
        money=("held by the counts", "on the slip", "confirmed", "confirmed less slip"),
    )
