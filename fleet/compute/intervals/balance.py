"""Selections against the machine's own totals: nothing is lost, and what differs says why."""

from collections.abc import Sequence
from operator import attrgetter
from typing import Final

from fleet.compute.intervals.figures import LINE_FIGURES, TOTAL_FIGURES, TOTAL_INDEX, Device
from fleet.compute.intervals.interval import (
    Balance,
    DeviceState,
    LineSold,
    MachineSold,
    Note,
    Sold,
    Treatment,
)
from fleet.compute.intervals.snapshot import Snapshot

_NAMES: Final = tuple(figure.name for figure in LINE_FIGURES)
_figures: Final = attrgetter(*_NAMES)
_PAID: Final = frozenset({"paid_count", "paid_value_minor"})
_BY_DEVICE_VALUE: Final = tuple(
    (TOTAL_INDEX[name], name)
    for name in (
        "cash_value_minor",
        "cashless_1_value_minor",
        "cashless_2_value_minor",
        "vend_token_value_minor",
        "value_token_value_minor",
    )
)


def balances_of(
    lines: Sequence[LineSold],
    machine: Sequence[int | None],
    board: DeviceState,
    *,
    money_compares: bool,
) -> tuple[tuple[Balance, ...], Sold]:
    """Each figure balanced, and what the machine counted that no selection accounts for.

    `machine` stands in the order of TOTAL_FIGURES. A figure that neither side has is left out;
    so is one, other than paid, that the machine does not total and whose selections add up to 0.
    """
    columns = zip(*(_figures(line.sold) for line in lines), strict=True)
    sums = [sum(filter(None, column)) for column in columns] or [0] * len(_NAMES)
    balances = []
    left: list[int | None] = []
    for index, name in enumerate(_NAMES):
        total, added = machine[index], sums[index]
        if total is None:
            left.append(None)
            if name in _PAID or added:
                why = _why_no_total(name, board, money_compares=money_compares)
                balances.append(Balance(name, None, added, 0, why))
            continue
        if added > total:
            why = (
                f"{name}: the selections add up to {added}, the machine's own total to {total}; "
                f"{added - total} more than it counted."
            )
            left.append(0)
            balances.append(Balance(name, total, added, 0, why))
            continue
        left.append(total - added)
        balances.append(Balance(name, total, added, total - added))
    return tuple(balances), Sold(*left)


def _why_no_total(name: str, board: DeviceState, *, money_compares: bool) -> str:
    if board.treatment is Treatment.AWAITS_DECISION:
        return f"{name}: {board.text}; nothing is posted until a person decides."
    if board.treatment is Treatment.LEFT_OUT:
        return f"{name}: {board.text}; left out by decision."
    if name.endswith("_minor") and not money_compares:
        return f"{name}: the two reads' money is not of one currency or decimal point."
    return f"{name}: the machine's own total is not known from both reads."


def payment_devices_note(
    before: Snapshot, after: Snapshot, machine: MachineSold, treatments: dict[Device, Treatment]
) -> Note | None:
    """Money of all paid vends against the sum over payment devices, where both are known.

    VA101 = CA201 + DA201 (+ DB201 + tokens): held in every file with cash data that we have seen.
    """
    if machine.paid_value_minor is None:
        return None
    total = 0
    for index, name in _BY_DEVICE_VALUE:
        if before.totals[index] is None and after.totals[index] is None:
            continue
        amount = getattr(machine, name)
        if amount is None or treatments[TOTAL_FIGURES[index].device] is not Treatment.COUNTED:
            return None
        total += amount
    if before.totals[_BY_DEVICE_VALUE[0][0]] is None or total == machine.paid_value_minor:
        return None
    return Note(
        "payment_devices_differ",
        f"Paid vends took {machine.paid_value_minor}, the payment devices together {total}.",
        "VA101",
    )


def payment_devices_said(machine: MachineSold) -> str | None:
    """What cash and cashless readers say they took, for when the control board cannot tell."""
    parts = []
    for name, count, value in (
        ("cash", machine.cash_count, machine.cash_value_minor),
        ("cashless", machine.cashless_1_count, machine.cashless_1_value_minor),
        ("second cashless reader", machine.cashless_2_count, machine.cashless_2_value_minor),
    ):
        if count is not None and value is not None:
            parts.append(f"{name} {count} vends, {value}")
    return "; ".join(parts) or None
