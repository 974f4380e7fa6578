"""Whether each device counted on between two reads, and what to do where it did not."""

from collections.abc import Sequence

from fleet.compute.intervals.counting import How, Resets, step
from fleet.compute.intervals.decisions import CarryOn, CountFromZero, Decision
from fleet.compute.intervals.figures import (
    LEADING,
    LINE_FIGURES,
    TOTAL_FIGURES,
    TOTAL_INDEX,
    Device,
)
from fleet.compute.intervals.interval import (
    CounterState,
    DeviceState,
    NewEpochReason,
    Treatment,
)
from fleet.compute.intervals.prices import value_ceiling
from fleet.compute.intervals.snapshot import Snapshot

_LEADING_INDEX = {
    device: tuple(TOTAL_INDEX[name] for name in names) for device, names in LEADING.items()
}
_PAID_COUNT = TOTAL_INDEX["paid_count"]
_TEXTS = {
    NewEpochReason.SERIAL_CHANGED: "its serial number changed",
    NewEpochReason.INITIALISED: "the machine was initialised",
    NewEpochReason.COUNTER_FELL: "its counter fell",
}


def device_states(
    before: Snapshot, after: Snapshot, decisions: Sequence[Decision], *, money_compares: bool
) -> dict[Device, DeviceState]:
    """Each device's state, by its serial, the date of initialising, and its leading counters.

    `decisions` are those about these two reads. A decision acts only where a new epoch begins;
    elsewhere the counters speak for themselves. `money_compares` is False where the reads' money
    is not of one unit, so that a fall in it says nothing.
    """
    states = {}
    for device in Device:
        state, reason = _state(device, before, after, money_compares)
        if reason is None:
            states[device] = DeviceState(device, state, Treatment.COUNTED)
        else:
            states[device] = new_epoch(device, reason, before, after, decisions)
    return states


def new_epoch(
    device: Device,
    reason: NewEpochReason,
    before: Snapshot,
    after: Snapshot,
    decisions: Sequence[Decision],
) -> DeviceState:
    """The state of a device that starts afresh, with what a person decided about it."""
    treatment = Treatment.AWAITS_DECISION
    for decision in decisions:
        if decision.device is device:
            if isinstance(decision, CountFromZero):
                treatment = Treatment.COUNTED_FROM_ZERO
            elif isinstance(decision, CarryOn):
                treatment = Treatment.CARRIED_ON
            else:
                treatment = Treatment.LEFT_OUT
    text = f"{device.value.replace('_', ' ')}: {_TEXTS[reason]}"
    if reason is NewEpochReason.SERIAL_CHANGED:
        earlier, later = before.serials(device), after.serials(device)
        changes = [
            f"{old} to {new}"
            for old, new in zip(earlier, later, strict=True)
            if old is not None and new is not None and old != new
        ]
        text += f" ({', '.join(changes)})"
    return DeviceState(device, CounterState.NEW_EPOCH, treatment, reason, text)


def _state(
    device: Device, before: Snapshot, after: Snapshot, money_compares: bool
) -> tuple[CounterState, NewEpochReason | None]:
    indexes = _LEADING_INDEX[device]
    earlier, later = before.totals, after.totals
    for old, new in zip(before.serials(device), after.serials(device), strict=True):
        if old is not None and new is not None and old != new:
            return CounterState.NEW_EPOCH, NewEpochReason.SERIAL_CHANGED
    if device is Device.CONTROL_BOARD and _initialised_between(before, after):
        return CounterState.NEW_EPOCH, NewEpochReason.INITIALISED
    known = wrapped = False
    for index in indexes:
        old_count, new_count = earlier[index], later[index]
        if old_count is None or new_count is None:
            continue
        known = True
        if new_count >= old_count:
            continue
        figure = TOTAL_FIGURES[index]
        is_sales = figure.name.endswith("_value_minor")
        ceiling = value_ceiling(before, after) if is_sales else None
        went = step(old_count, new_count, figure.modulus, ceiling)
        if went.how is How.WENT_BACK:
            if figure.is_money and not money_compares:
                continue  # another decimal point, not another device
            return CounterState.NEW_EPOCH, NewEpochReason.COUNTER_FELL
        wrapped = True
    if not known and device is Device.CONTROL_BOARD:
        return _state_by_lines(before, after)
    if not known and all(earlier[index] is None and later[index] is None for index in indexes):
        return CounterState.ABSENT, None
    return (CounterState.WRAPPED if wrapped else CounterState.SAME), None


def _state_by_lines(
    before: Snapshot, after: Snapshot
) -> tuple[CounterState, NewEpochReason | None]:
    """The board's state where it sends no total: any selection's paid count may tell."""
    earlier = {(line.selection, line.ordinal): line.ever[0] for line in before.selections}
    modulus = LINE_FIGURES[0].modulus
    for line in after.selections:
        old = earlier.get((line.selection, line.ordinal))
        if step(old, line.ever[0], modulus).how is How.WENT_BACK:
            return CounterState.NEW_EPOCH, NewEpochReason.COUNTER_FELL
    if before.selections or after.selections:
        return CounterState.SAME, None
    return CounterState.ABSENT, None


def _initialised_between(before: Snapshot, after: Snapshot) -> bool:
    old, new = before.initialised_at, after.initialised_at
    return old is not None and new is not None and old != new


def resets_between(before: Snapshot, after: Snapshot) -> Resets:
    """Whether the since-reset counters ran through, or who set them back.

    Only a read that says it resets, or after which the counters visibly began again, counts as
    having reset them itself; a doubt is UNKNOWN, since a wrong guess would post false sales.
    """
    if before.resets_counter is None or after.resets_counter is None:
        return Resets.UNKNOWN
    resets = after.resets_counter - before.resets_counter
    itself = before.reset_mode in ("AUTO", "RESET")
    if resets == 0:
        return Resets.UNKNOWN if itself else Resets.NONE
    if resets != 1 or after.previous_read_at is None:
        return Resets.UNKNOWN if resets < 0 else Resets.BY_OTHERS
    if after.previous_read_at != before.this_read_at:
        return Resets.BY_OTHERS
    old, new = before.totals_since_reset[_PAID_COUNT], after.totals_since_reset[_PAID_COUNT]
    began_again = old is not None and new is not None and new < old
    return Resets.AT_THE_FIRST_READ if itself or began_again else Resets.UNKNOWN
