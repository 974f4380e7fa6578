"""One sale interval: the later of two reads minus the earlier."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, tzinfo
from typing import Final

from fleet.compute.intervals.balance import (
    balances_of,
    payment_devices_note,
    payment_devices_said,
)
from fleet.compute.intervals.counting import How, Resets, since_reset_step, step
from fleet.compute.intervals.decisions import Decision
from fleet.compute.intervals.devices import device_states, new_epoch, resets_between
from fleet.compute.intervals.drift import ClockState, KnownBy, Moment, moment_of
from fleet.compute.intervals.figures import LINE_WIDTH, TOTAL_FIGURES, Device
from fleet.compute.intervals.interval import (
    Balance,
    CounterState,
    DeviceState,
    Interval,
    LineSold,
    MachineSold,
    Matched,
    NewEpochReason,
    Note,
    Quality,
    Sold,
    Treatment,
)
from fleet.compute.intervals.lines import LineCut
from fleet.compute.intervals.prices import decimals_differ, price_notes, value_ceiling
from fleet.compute.intervals.snapshot import Snapshot

_COUNTING: Final = (Treatment.COUNTED, Treatment.CARRIED_ON)
_CLOCK_CODES: Final = {
    ClockState.OFF: "clock_off",
    ClockState.DISTRUSTED: "clock_distrusted",
    ClockState.RECEIVED_LATE: "received_late",
}
_OF_THE_CLOCK: Final = frozenset(_CLOCK_CODES.values())
_WENT_BACK: Final = ("paid_count", How.WENT_BACK)


def cut(
    before: Snapshot,
    after: Snapshot,
    decisions: Sequence[Decision] = (),
    *,
    zone: tzinfo = UTC,
    start: Moment | None = None,
    end: Moment | None = None,
    sold_out_date_is_last_sale: bool = False,
) -> Interval:
    """What the machine sold from one read to the next, by selection and in total.

    `before` was taken first, whenever it was received. `zone` is the site's, for the machine's
    clock. `start` and `end` are the reads' moments where the caller knows them better than the two
    reads alone tell. Of `decisions` those about these two reads apply. Nothing negative is posted:
    a device whose counters start afresh posts nothing until a person decides.
    """
    about = [
        decision
        for decision in decisions
        if decision.from_key == before.key and decision.to_key == after.key
    ]
    notes, most_prices_moved = price_notes(before, after)
    differ = decimals_differ(before, after, most_prices_moved=most_prices_moved)
    notes += _unit_notes(before, after, differ=differ)
    states = device_states(before, after, about, money_compares=not differ)
    resets = resets_between(before, after)
    machine = _machine(before, after, states, resets, notes, money_compares=not differ)
    lines_cut = LineCut(
        before,
        after,
        states[Device.CONTROL_BOARD].treatment,
        resets,
        machine[:LINE_WIDTH],
        money_compares=not differ,
        sold_out_date_is_last_sale=sold_out_date_is_last_sale,
    )
    lines = lines_cut.lines()
    if _belongs_to_another_board(states[Device.CONTROL_BOARD], lines, machine[0]):
        states[Device.CONTROL_BOARD] = new_epoch(
            Device.CONTROL_BOARD, NewEpochReason.COUNTER_FELL, before, after, about
        )
        machine = _machine(before, after, states, resets, [], money_compares=not differ)
        lines_cut = replace(
            lines_cut,
            treatment=states[Device.CONTROL_BOARD].treatment,
            ceilings=machine[:LINE_WIDTH],
            notes=[],
        )
        lines = lines_cut.lines()
    notes += lines_cut.notes
    lines = _appeared_from_zero(after, lines, machine, notes)
    balances, unassigned = balances_of(
        lines, machine, states[Device.CONTROL_BOARD], money_compares=not differ
    )
    sold = MachineSold(*machine)
    received_late = before.received_at > after.received_at
    start = start or moment_of(before, zone, late=received_late)
    end = _noted_end(start, end or moment_of(after, zone), after.key, notes)
    notes += _device_notes(states, about)
    notes += _total_notes(before, after, states, sold, unassigned)
    why_not = _why_not(states, balances, sold)
    return Interval(
        from_key=before.key,
        to_key=after.key,
        start=start,
        end=end,
        currency=after.currency or before.currency,
        exponent=after.exponent if after.exponent_stated else before.exponent,
        devices=tuple(states.values()),
        lines=tuple(lines),
        machine=sold,
        unassigned=unassigned,
        balances=balances,
        why_not=why_not,
        notes=tuple(notes),
        quality=_quality(states, why_not, lines, notes),
        decisions=tuple(
            decision
            for decision in about
            if states[decision.device].state is CounterState.NEW_EPOCH
        ),
    )


def _machine(
    before: Snapshot,
    after: Snapshot,
    states: dict[Device, DeviceState],
    resets: Resets,
    notes: list[Note],
    *,
    money_compares: bool,
) -> list[int | None]:
    """The machine's own totals, in the order of TOTAL_FIGURES."""
    amounts: list[int | None] = []
    for index, figure in enumerate(TOTAL_FIGURES):
        old, new = before.totals[index], after.totals[index]
        treatment = states[figure.device].treatment
        amount: int | None = None
        if treatment is Treatment.COUNTED_FROM_ZERO:
            amount = new
        elif treatment in _COUNTING:
            if old is not None and new is not None and new >= old:
                amount = new - old
            else:
                swapped = figure.code[:3] in after.swapped_segments
                modulus = figure.reset_modulus if swapped else figure.modulus
                is_sales = figure.name.endswith("_value_minor")
                ceiling = value_ceiling(before, after) if is_sales and new is not None else None
                went = step(old, new, modulus, ceiling)
                if went.how is How.BLANK:
                    went = since_reset_step(
                        before.totals_since_reset[index], after.totals_since_reset[index], resets
                    )
                amount = went.amount
                if went.how in _TOLD:
                    code, text = _TOLD[went.how]
                    notes.append(Note(code, text, figure.code))
        amounts.append(amount if money_compares or not figure.is_money else None)
    return amounts


_TOLD: Final = {
    How.WRAPPED: ("counter_wrapped", "Passed the top of the counter's range and began again."),
    How.WENT_BACK: ("counter_went_back", "Lower than in the read before; not known."),
    How.SINCE_RESET: (
        "counted_since_reset",
        "The never-reset counter is blank; taken from the since-reset one.",
    ),
}


def _belongs_to_another_board(
    board: DeviceState, lines: Sequence[LineSold], paid_count: int | None
) -> bool:
    """Whether selections whose counters fell are a sign of another board, not of their own.

    The machine's total rose, by the chance of another board's higher count: then most selections
    fell, or the others add up to more than the total. Else the few that fell stand unknown,
    and the machine's total still says what they sold together.
    """
    if board.treatment is not Treatment.COUNTED:
        return False
    fell = sum(_WENT_BACK in line.how for line in lines)
    if fell == 0:
        return False
    went_on = [line.sold.paid_count for line in lines if line.sold.paid_count is not None]
    return fell > len(went_on) or (paid_count is not None and sum(went_on) > paid_count)


def _appeared_from_zero(
    after: Snapshot, lines: list[LineSold], machine: Sequence[int | None], notes: list[Note]
) -> list[LineSold]:
    """Selections new in the later read, counted from zero where that is exactly what is missing.

    Only if count and money of all of them together are to the unit what the machine counted beyond
    the other selections; else they stay unknown and their sales unassigned.
    """
    unknown = [line for line in lines if line.sold.paid_count is None]
    if not unknown or any(line.matched is not Matched.APPEARED for line in unknown):
        return lines
    readings = {(line.selection, line.ordinal): line.ever for line in after.selections}
    for index in (0, 1):
        total = machine[index]
        if total is None:
            return lines
        name = TOTAL_FIGURES[index].name
        known = sum(getattr(line.sold, name) or 0 for line in lines)
        shown = [readings[line.selection, line.ordinal][index] for line in unknown]
        if any(value is None for value in shown):
            return lines
        if total - known != sum(value or 0 for value in shown):
            return lines
    text = "New in this read and counted from zero: just what the machine's total lacks."
    notes += [Note("counted_from_zero", text, line.selection) for line in unknown]
    return [
        replace(
            line,
            sold=Sold(*readings[line.selection, line.ordinal]),
            how=(("paid_count", How.FROM_ZERO),),
        )
        if line.sold.paid_count is None
        else line
        for line in lines
    ]


def _noted_end(start: Moment, end: Moment, key: str, notes: list[Note]) -> Moment:
    """The end, not before the start, with a note on the clock that it rests on."""
    if end.at < start.at:
        text = "By its times the later read was taken before the earlier; the order is kept."
        notes.append(Note("times_disagree", text, key))
        end = Moment(start.at, KnownBy.BOUNDED, end.drift)
    code = _CLOCK_CODES.get(end.drift.state)
    if code is not None:
        notes.append(Note(code, end.drift.text, key))
    return end


def _unit_notes(before: Snapshot, after: Snapshot, *, differ: bool) -> list[Note]:
    notes = []
    if differ:
        text = (
            f"Money went from {before.currency or 'no currency'} with {before.exponent} decimals "
            f"to {after.currency or 'no currency'} with {after.exponent}, or all prices moved by "
            "ten: it is not subtracted and not converted."
        )
        notes.append(Note("decimals_changed", text, "ID4"))
    if before.swapped_segments != after.swapped_segments:
        segments = ", ".join(sorted(before.swapped_segments ^ after.swapped_segments))
        text = f"Only one of the two reads has the halves of {segments} the wrong way round."
        notes.append(Note("swapped_halves_differ", text, segments))
    return notes


def _device_notes(states: dict[Device, DeviceState], about: Sequence[Decision]) -> list[Note]:
    notes = [
        Note("new_epoch", f"{state.text}.", state.device)
        for state in states.values()
        if state.state is CounterState.NEW_EPOCH
    ]
    text = "The counters went on between these reads; there is nothing to decide."
    notes += [
        Note("decision_not_needed", text, decision.device)
        for decision in about
        if states[decision.device].state is not CounterState.NEW_EPOCH
    ]
    return notes


def _total_notes(
    before: Snapshot,
    after: Snapshot,
    states: dict[Device, DeviceState],
    sold: MachineSold,
    unassigned: Sold,
) -> list[Note]:
    notes = []
    if any(line.ordinal > 1 for line in after.selections):
        doubled = sorted({line.selection for line in after.selections if line.ordinal > 1})
        text = f"Sent more than once in one read: {', '.join(doubled)}."
        notes.append(Note("duplicate_selection", text, doubled[0]))
    if unassigned.paid_count or unassigned.paid_value_minor:
        text = (
            f"{unassigned.paid_count} vends, {unassigned.paid_value_minor} of the machine's total "
            "belong to no selection that could be counted."
        )
        notes.append(Note("unassigned", text, "VA1"))
    treatments = {device: state.treatment for device, state in states.items()}
    note = payment_devices_note(before, after, sold, treatments)
    if note is not None:
        notes.append(note)
    return notes


def _why_not(
    states: dict[Device, DeviceState], balances: Sequence[Balance], sold: MachineSold
) -> tuple[str, ...]:
    reasons = [balance.why_not for balance in balances if balance.why_not is not None]
    for state in states.values():
        if state.device is Device.CONTROL_BOARD or state.treatment in _COUNTING:
            continue
        if state.treatment is Treatment.AWAITS_DECISION:
            reasons.append(f"{state.text}; nothing is posted until a person decides.")
        elif state.treatment is Treatment.LEFT_OUT:
            reasons.append(f"{state.text}; left out by decision.")
    board = states[Device.CONTROL_BOARD].treatment
    if board in (Treatment.AWAITS_DECISION, Treatment.LEFT_OUT):
        took = payment_devices_said(sold)
        if took is not None:
            reasons.append(f"The payment devices went on meanwhile: {took}.")
    return tuple(reasons)


def _quality(
    states: dict[Device, DeviceState],
    why_not: Sequence[str],
    lines: Sequence[LineSold],
    notes: Sequence[Note],
) -> Quality:
    if any(state.treatment is Treatment.AWAITS_DECISION for state in states.values()):
        return Quality.AWAITS_DECISION
    gaps = any(line.sold.paid_count is None or _has_gap(line) for line in lines)
    if why_not or gaps:
        return Quality.PARTIAL
    of_figures = any(note.code not in _OF_THE_CLOCK for note in notes)
    return Quality.NOTED if of_figures else Quality.WHOLE


def _has_gap(line: LineSold) -> bool:
    return any(how in (How.WENT_BACK, How.BLANK) for _, how in line.how)
