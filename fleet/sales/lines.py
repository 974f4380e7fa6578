"""From an interval as computed to its rows: the machine's, and one for each column."""

from collections.abc import Sequence
from typing import Any, Final

from fleet.compute.intervals.figures import Device
from fleet.compute.intervals.interval import (
    Confidence,
    CounterState,
    Interval,
    LineSold,
    MachineSold,
    Treatment,
)
from fleet.compute.intervals.share import share_out

from .books import Books, MachineBook, SelectionSaid
from .models import MachineInterval, SaleInterval
from .models.intervals import CASH, SOLD

_BASIC: Final = SOLD[:8]
#: Names of the computation for the columns of the same meaning.
_LINE_NAMES: Final = tuple(
    (column, column.replace("_units", "_count").replace("_minor", "_value_minor"))
    for column in _BASIC
)
_CASHLESS: Final = (
    (Device.CASHLESS_1, "cashless_1"),
    (Device.CASHLESS_2, "cashless_2"),
)
_IN_COLUMNS: Final = frozenset(
    [name for _, name in _LINE_NAMES]
    + list(CASH)
    + ["cash_count", "cash_value_minor"]
    + [f"{reader}_{what}" for _, reader in _CASHLESS for what in ("count", "value_minor")]
)
_OTHERS: Final = tuple(name for name in MachineSold.__dataclass_fields__ if name not in _IN_COLUMNS)
_KINDS: Final = ("paid", "cash", "cashless", "test", "free", "discount")
_RANKS: Final = (Confidence.STRONG, Confidence.FAIR, Confidence.WEAK)

Figures = dict[str, int | None]
#: A row of SaleInterval as plain values by attribute; there are too many for instances.
SaleValues = dict[str, Any]
Note = dict[str, str]
#: Every column of a line but its key and its interval, as a line has it of which nothing is known.
_BLANK: Final[SaleValues] = {
    field.attname: None if field.null else field.get_default()
    for field in SaleInterval._meta.local_concrete_fields
    if field.attname not in ("id", "interval_id")
}
SALE_COLUMNS: Final = ("id", "interval_id", *_BLANK)


def rows_of(
    interval: Interval, book: MachineBook, books: Books, from_id: int, to_id: int
) -> tuple[MachineInterval, list[SaleValues]]:
    """The row of one interval, not yet with its key, and the values of its lines, without it.

    Over all lines, the unassigned one with them, every figure that the machine totals adds up to
    the machine's, or `why_not` says why it does not.
    """
    notes: list[Note] = [
        {"code": note.code, "text": note.text, "where": note.where} for note in interval.notes
    ]
    why_not = list(interval.why_not)
    machine = _machine_figures(interval)
    row = MachineInterval(
        machine_id=book.machine.pk,
        from_read_id=from_id,
        to_read_id=to_id,
        starts_at=interval.start.at,
        ends_at=interval.end.at,
        currency=interval.currency or "",
        exponent=interval.exponent,
        other_figures={
            name: value
            for name in _OTHERS
            if (value := getattr(interval.machine, name)) is not None
        },
        quality=interval.quality.value,
        devices=[
            {
                "device": state.device.value,
                "state": state.state.value,
                "treatment": state.treatment.value,
                "reason": state.reason.value if state.reason else None,
                "text": state.text,
            }
            for state in interval.devices
            if state.state is not CounterState.ABSENT
        ],
        awaits_decision=any(
            state.treatment is Treatment.AWAITS_DECISION for state in interval.devices
        ),
        **machine,
        **{name: getattr(interval.machine, name) for name in CASH},
    )
    lines: list[SaleValues] = []
    for line in interval.lines:
        lines += _lines(line, interval, book, books, notes)
    rest = _unassigned(interval, machine, why_not, notes)
    if any(rest.values()):
        lines.append({**_BLANK, "is_unassigned": True, **rest})
    row.warnings, row.why_not, row.sum_agrees = notes, why_not, not why_not
    return row, lines


def _machine_figures(interval: Interval) -> Figures:
    sold = interval.machine
    figures: Figures = {column: getattr(sold, name) for column, name in _LINE_NAMES}
    figures["cash_units"], figures["cash_minor"] = sold.cash_count, sold.cash_value_minor
    treatments = {state.device: state for state in interval.devices}
    for column, what in (("cashless_units", "count"), ("cashless_minor", "value_minor")):
        parts = [
            getattr(sold, f"{reader}_{what}")
            for device, reader in _CASHLESS
            if treatments[device].state is not CounterState.ABSENT
        ]
        figures[column] = None if not parts or None in parts else sum(parts)
    return figures


def _unassigned(
    interval: Interval, machine: Figures, why_not: list[str], notes: list[Note]
) -> Figures:
    """What the machine counted and no line accounts for."""
    rest: Figures = {column: getattr(interval.unassigned, name) for column, name in _LINE_NAMES}
    for kind in ("cash", "cashless"):
        for column, name in (
            (f"{kind}_units", f"{kind}_count"),
            (f"{kind}_minor", f"{kind}_value_minor"),
        ):
            total = machine[column]
            said = "vends" if column.endswith("units") else "takings in minor units"
            told = [value for line in interval.lines if (value := getattr(line, name)) is not None]
            rest[column] = None
            if total is None:
                continue
            if not told and total:
                text = (
                    f"The machine counts {kind} as a whole ({said}: {total}) and does not say "
                    "which selections it was."
                )
                if not any(note["code"] == f"{kind}_not_by_selection" for note in notes):
                    notes.append({"code": f"{kind}_not_by_selection", "text": text, "where": ""})
            rest[column] = max(total - sum(told), 0)
            if sum(told) > total:
                why_not.append(
                    f"{kind}, {said}: the selections add up to {sum(told)}, the machine's own "
                    f"total to {total}; {sum(told) - total} more than it counted."
                )
    return rest


def _lines(
    line: LineSold, interval: Interval, book: MachineBook, books: Books, notes: list[Note]
) -> list[SaleValues]:
    selection = book.selection(line.selection)
    figures = _figures(line)
    common: SaleValues = {
        **_BLANK,
        "selection_id": None if selection is None else selection.pk,
        "selection_code": line.selection,
        "ordinal": line.ordinal,
        "price_minor": line.price_minor_after,
        "ran_dry": _best(line),
        "evidence": [
            {
                "evidence": sign.evidence,
                "confidence": sign.confidence.value,
                "text": sign.text,
                "at": None if sign.at is None else sign.at.isoformat(),
            }
            for sign in line.ran_dry
        ],
        "how": {name: how.value for name, how in line.how},
    }
    if selection is None or not selection.columns:
        if any(figures.values()):
            text = (
                f"The record of {book.machine} has no selection {line.selection}."
                if selection is None
                else f"Selection {line.selection} draws on no column."
            )
            code = "selection_unknown" if selection is None else "selection_without_column"
            notes.append({"code": code, "text": text, "where": line.selection})
        return [{**common, **figures}]
    in_force = [
        books.in_force(column, interval.start.at, interval.end.at) for column in selection.columns
    ]
    for column, (_, spans) in zip(selection.columns, in_force, strict=True):
        if spans:
            text = f"The set-up of column {column.label} changed between the two reads."
            notes.append({"code": "set_up_changed", "text": text, "where": line.selection})
    capacities = [0 if set_up is None else set_up.capacity for set_up, _ in in_force]
    parts, said = _shared(figures, capacities, selection)
    return [
        {
            **common,
            "column_id": column.pk,
            "set_up_id": None if set_up is None else set_up.pk,
            "spans_set_ups": spans,
            "is_share": bool(said),
            "share_said": said,
            **part,
        }
        for column, (set_up, spans), part in zip(selection.columns, in_force, parts, strict=True)
    ]


def _figures(line: LineSold) -> Figures:
    figures: Figures = {column: getattr(line.sold, name) for column, name in _LINE_NAMES}
    figures["cash_units"], figures["cash_minor"] = line.cash_count, line.cash_value_minor
    figures["cashless_units"] = line.cashless_count
    figures["cashless_minor"] = line.cashless_value_minor
    return figures


def _best(line: LineSold) -> str:
    found = {sign.confidence for sign in line.ran_dry}
    return next((rank.value for rank in _RANKS if rank in found), "")


def _shared(
    figures: Figures, capacities: Sequence[int], selection: SelectionSaid
) -> tuple[list[Figures], str]:
    """A selection's figures on its columns, and how they were shared; "" if there was no need.

    Paid vends are shared by capacity, and of each column's vends a part is cash; money follows the
    vends. So a column's paid stays the sum of its payments wherever the selection's is.
    """
    if len(selection.columns) == 1:
        return [figures], ""
    # Where any column's capacity is not known, none of them tells the others' part.
    weights = list(capacities) if all(capacities) else [1] * len(capacities)
    split = {kind: _split(figures[f"{kind}_units"], weights) for kind in _KINDS}
    if _pays_up(figures, "units") and any(split["paid"]):
        split["cash"] = _split(figures["cash_units"], [units or 0 for units in split["paid"]])
        split["cashless"] = [
            (paid or 0) - (cash or 0)
            for paid, cash in zip(split["paid"], split["cash"], strict=True)
        ]
    money = {}
    for kind in _KINDS:
        by = [units or 0 for units in split[kind]]
        money[kind] = _split(figures[f"{kind}_minor"], by if any(by) else weights)
    if _pays_up(figures, "minor"):
        money["paid"] = [
            (cash or 0) + (card or 0)
            for cash, card in zip(money["cash"], money["cashless"], strict=True)
        ]
    parts: list[Figures] = [
        {f"{kind}_units": split[kind][index] for kind in _KINDS}
        | {f"{kind}_minor": money[kind][index] for kind in _KINDS}
        for index in range(len(weights))
    ]
    labels = ", ".join(column.label for column in selection.columns)
    basis = (
        f"by capacity, {' to '.join(map(str, capacities))}"
        if all(capacities)
        else "equally: a column's capacity is not known"
    )
    return parts, f"shared out on columns {labels} {basis}"[:200]


def _pays_up(figures: Figures, measure: str) -> bool:
    """Whether cash and cashless are known and make up paid."""
    cash, cashless = figures[f"cash_{measure}"], figures[f"cashless_{measure}"]
    if cash is None or cashless is None:
        return False
    return cash + cashless == figures[f"paid_{measure}"]


def _split(value: int | None, weights: Sequence[int]) -> list[int | None]:
    """A figure in whole parts by weight; parts of what is not known are not known."""
    if not value:
        return [value] * len(weights)
    return [part.units for part in share_out(value, 0, weights).parts]
