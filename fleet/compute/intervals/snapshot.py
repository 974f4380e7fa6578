"""What cutting needs of one read: its counters, its identities and its times."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import datetime

from fleet.compute.audit.report import Counters, PaymentLine, Report, Selection
from fleet.compute.audit.totals import Amounts, Totals
from fleet.compute.intervals.figures import (
    NO_LINE,
    NO_TOTALS,
    TOTAL_INDEX,
    Device,
)

Numbers = tuple[int | None, ...]


@dataclass(frozen=True, slots=True)
class PaymentReading:
    """One PA7 line as read: paid vends of a selection by payment device, price list and price.

    `device` is CA cash, DA or DB cashless, TA token.
    """

    device: str | None
    price_list: int | None
    price_minor: int | None
    count_ever: int | None
    value_ever_minor: int | None
    count_since_reset: int | None = None
    value_since_reset_minor: int | None = None


@dataclass(frozen=True, slots=True)
class SelectionReading:
    """One selection as read. `ever` and `since_reset` stand in the order of LINE_FIGURES.

    `ordinal` tells selections of one id in one file apart, from 1. `paid_from_payments` says
    that the machine sent no PA2 and the paid counters are the sum over its PA7 lines.
    `sold_out_events` of an event ELB with this selection's id: (active now, times ever).
    """

    selection: str
    ordinal: int = 1
    price_minor: int | None = None
    ever: Numbers = NO_LINE
    since_reset: Numbers = NO_LINE
    payments: tuple[PaymentReading, ...] = ()
    paid_from_payments: bool = False
    motor_absent: bool = False
    current_level: int | None = None
    sold_out_at: datetime | None = None
    asked_while_sold_out: int | None = None
    sold_out_event_active: bool | None = None
    sold_out_event_count: int | None = None
    sold_out_event_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One read of one machine, reduced to what sale intervals are cut from.

    `received_at` is aware. `machine_clock`, `this_read_at`, `previous_read_at` and
    `initialised_at` are the machine's own times, without offset. `reads_counter` is EA309 (reads
    with or without reset) or, where it is blank, EA301; `resets_counter` EA310 or EA301.
    `totals` and `totals_since_reset` stand in the order of TOTAL_FIGURES, money in minor units.
    `swapped_segments` were sent with their halves the wrong way round and stand here put right.
    """

    key: str
    received_at: datetime
    machine_clock: datetime | None = None
    clock_follows_summer_time: bool | None = None
    reads_counter: int | None = None
    resets_counter: int | None = None
    this_read_at: datetime | None = None
    previous_read_at: datetime | None = None
    reset_mode: str | None = None
    initialised_at: datetime | None = None
    board_serial: str | None = None
    machine_serial: str | None = None
    coin_serial: str | None = None
    bill_serial: str | None = None
    cashless_1_serial: str | None = None
    cashless_2_serial: str | None = None
    token_serial: str | None = None
    currency: str | None = None
    exponent: int = 2
    exponent_stated: bool = False
    swapped_segments: frozenset[str] = frozenset()
    block_sha256: str | None = None
    totals: Numbers = NO_TOTALS
    totals_since_reset: Numbers = field(default=NO_TOTALS, repr=False)
    selections: tuple[SelectionReading, ...] = ()

    def __post_init__(self) -> None:
        if self.received_at.tzinfo is None:
            raise ValueError(f"read {self.key}: received_at must carry an offset from UTC")

    def total(self, name: str) -> int | None:
        """A never-reset counter of the machine by its name in TOTAL_FIGURES."""
        return self.totals[TOTAL_INDEX[name]]

    def serials(self, device: Device) -> tuple[str | None, ...]:
        """The serial numbers that tell whether this device is still the same one."""
        if device is Device.CONTROL_BOARD:
            return self.board_serial, self.machine_serial
        return (
            {
                Device.COIN_MECHANISM: self.coin_serial,
                Device.BILL_VALIDATOR: self.bill_serial,
                Device.CASHLESS_1: self.cashless_1_serial,
                Device.CASHLESS_2: self.cashless_2_serial,
                Device.TOKEN_MECHANISM: self.token_serial,
            }[device],
        )


def snapshot_of(report: Report, key: str, received_at: datetime) -> Snapshot:
    """Keep of a report what cutting needs. `key` names the read; `received_at` must be aware.

    Halves that the machine sends the wrong way round are exchanged here. Where PA2 is blank, the
    paid counters of a selection are the sum over its PA7 lines; the two are never added.
    """
    swapped = frozenset(report.swapped_segments)
    info = report.read_info
    ever, since_reset = _totals(report.totals, swapped)
    serials = {device.role: device.serial for device in report.devices}
    return Snapshot(
        key=key,
        received_at=received_at,
        machine_clock=report.clock.time.at or info.this_read.at,
        clock_follows_summer_time=_follows_summer_time(report.clock.daylight_saving),
        reads_counter=_first(info.reads_ever, info.reads_with_reset_ever),
        resets_counter=_first(info.resets_ever, info.reads_with_reset_ever),
        this_read_at=info.this_read.at,
        previous_read_at=info.previous_read.at,
        reset_mode=info.interval_reset_mode,
        initialised_at=info.initialised.at,
        board_serial=serials.get("control_board"),
        machine_serial=report.identity.serial,
        coin_serial=serials.get("coin_mechanism"),
        bill_serial=serials.get("bill_validator"),
        cashless_1_serial=serials.get("cashless_1"),
        cashless_2_serial=serials.get("cashless_2"),
        token_serial=serials.get("token_mechanism"),
        currency=report.currency.alphabetic,
        exponent=report.currency.decimals,
        exponent_stated=report.currency.decimals_stated,
        swapped_segments=swapped,
        block_sha256=report.block_sha256,
        totals=ever,
        totals_since_reset=since_reset,
        selections=_selections(report, swapped),
    )


def _first(*values: int | None) -> int | None:
    return next((value for value in values if value is not None), None)


def _follows_summer_time(mode: str | None) -> bool | None:
    return None if mode is None or mode == "" else mode.upper() != "OFF"


def _right_way(counters: Counters, segment: str, swapped: frozenset[str]) -> Counters:
    return counters.exchanged() if segment in swapped else counters


def _totals(totals: Totals, swapped: frozenset[str]) -> tuple[Numbers, Numbers]:
    pairs: tuple[tuple[Counters, str], ...] = (
        (totals.paid, "VA1"),
        (totals.test, "VA2"),
        (totals.free, "VA3"),
        (totals.paid_discounts, "VA1"),
        (totals.cash_sales, "CA2"),
    )
    counters = [_right_way(pair, segment, swapped) for pair, segment in pairs]
    amounts: list[Amounts] = [
        totals.cash_in.total,
        totals.cash_in.to_box,
        totals.cash_in.to_tubes,
        totals.cash_out.dispensed,
        totals.cash_out.by_hand,
        totals.cash_overpay,
        totals.coins_filled_by_hand,
        totals.cash_in.bills,
    ]
    ever: list[int | None] = []
    since_reset: list[int | None] = []
    for pair in counters:
        _add(pair, ever, since_reset)
    ever += [amount.ever_minor for amount in amounts]
    since_reset += [amount.since_reset_minor for amount in amounts]
    for reader, segment in ((totals.cashless_1, "DA2"), (totals.cashless_2, "DB2")):
        _add(_right_way(reader.sales, segment, swapped), ever, since_reset)
        ever.append(reader.revalued.ever_minor)
        since_reset.append(reader.revalued.since_reset_minor)
    for tokens in (totals.vend_tokens, totals.value_tokens):
        _add(_right_way(tokens, "TA2", swapped), ever, since_reset)
    return tuple(ever), tuple(since_reset)


def _add(pair: Counters, ever: list[int | None], since_reset: list[int | None]) -> None:
    ever += [pair.count_ever, pair.value_ever_minor]
    since_reset += [pair.count_since_reset, pair.value_since_reset_minor]


def _selections(report: Report, swapped: frozenset[str]) -> tuple[SelectionReading, ...]:
    events = _sold_out_events(report)
    readings = [
        _selection(selection, swapped, events.get(selection.id, (None, None, None)))
        for selection in report.selections
    ]
    strays: dict[str, list[PaymentLine]] = defaultdict(list)
    for line in report.stray_payment_lines:
        strays[line.selection_id].append(line)
    readings += [
        _selection(
            Selection(id=id_, payment_lines=tuple(lines)), swapped, events.get(id_, (None,) * 3)
        )
        for id_, lines in strays.items()
    ]
    return tuple(readings)


SoldOutEvent = tuple[bool | None, int | None, datetime | None]


def _sold_out_events(report: Report) -> dict[str, SoldOutEvent]:
    """Event ELB, "sold out unexpectedly", by the selection in its qualifier."""
    found: dict[str, SoldOutEvent] = {}
    for total in report.event_totals:
        if total.base == "ELB" and total.qualifier:
            found[total.qualifier] = (total.active, total.count_ever, None)
    for event in report.events:
        if event.base == "ELB" and event.qualifier:
            active, count, last = found.get(event.qualifier, (None, None, None))
            times = [at for at in (last, event.time.at) if at is not None]
            found[event.qualifier] = (active, count, max(times, default=None))
    return found


def _selection(
    selection: Selection, swapped: frozenset[str], event: SoldOutEvent
) -> SelectionReading:
    payments = tuple(
        _payment(line, _right_way(line.paid, "PA7", swapped)) for line in selection.payment_lines
    )
    paid = _right_way(selection.paid, "PA2", swapped)
    from_payments = paid.count_ever is None and paid.value_ever_minor is None and bool(payments)
    if from_payments:
        paid = Counters(
            _sum([line.count_ever for line in payments]),
            _sum([line.value_ever_minor for line in payments]),
            _first(paid.count_since_reset, _sum([line.count_since_reset for line in payments])),
            _first(
                paid.value_since_reset_minor,
                _sum([line.value_since_reset_minor for line in payments]),
            ),
        )
    pairs = (
        paid,
        _right_way(selection.test, "PA3", swapped),
        _right_way(selection.free, "PA4", swapped),
        _right_way(selection.discounts, "PA2", swapped),
    )
    ever: list[int | None] = []
    since_reset: list[int | None] = []
    for pair in pairs:
        _add(pair, ever, since_reset)
    sold_out = selection.sold_out
    active, count, happened_at = event
    return SelectionReading(
        selection=selection.id,
        ordinal=selection.ordinal,
        price_minor=selection.price_minor,
        ever=tuple(ever),
        since_reset=tuple(since_reset),
        payments=payments,
        paid_from_payments=from_payments,
        motor_absent=bool(selection.motor_absent),
        current_level=selection.current_level,
        sold_out_at=None if sold_out is None else sold_out.time.at,
        asked_while_sold_out=None if sold_out is None else sold_out.asked_count_since_reset,
        sold_out_event_active=active,
        sold_out_event_count=count,
        sold_out_event_at=happened_at,
    )


def _payment(line: PaymentLine, paid: Counters) -> PaymentReading:
    return PaymentReading(
        device=line.device,
        price_list=line.price_list,
        price_minor=line.applied_price_minor,
        count_ever=paid.count_ever,
        value_ever_minor=paid.value_ever_minor,
        count_since_reset=paid.count_since_reset,
        value_since_reset_minor=paid.value_since_reset_minor,
    )


def _sum(values: list[int | None]) -> int | None:
    """The sum, or None if any part is blank: a sum with a gap is not the total."""
    total = 0
    for value in values:
        if value is None:
            return None
        total += value
    return total
