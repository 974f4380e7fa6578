"""What one audit file says, as values.

Blank is ``None`` and never 0: a counter that the machine did not send is unknown. Money is the
integer that was read, in minor units of the file's currency; ``Currency.decimals`` says where
the point goes. Times are the machine's own: the text as sent, and the same as a naive datetime
where it can be read.

"Ever" means since the machine was initialised; those counters are never reset. "Since reset"
means since somebody last read the machine and reset it.
"""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from fleet.compute.audit.pieces import NO_TUBES, BillLine, CoinLine, TubeLine, Tubes
from fleet.compute.audit.totals import NO_COUNTERS, NO_TOTALS, Amounts, Counters, Totals

Verdict = Literal["ok", "ok_byte_swapped", "ok_after_crlf_restore", "missing", "mismatch"]
UsableAs = Literal["accepted", "unverified", "held"]
Effect = Literal["note", "check", "unverified", "hold"]
DeviceRole = Literal[
    "audit_module",
    "control_board",
    "bill_validator",
    "coin_mechanism",
    "cashless_1",
    "cashless_2",
    "token_mechanism",
    "hopper_1",
    "hopper_2",
]


@dataclass(frozen=True, slots=True)
class Warning:
    """Something odd, named. `where` is a segment or element code, with the line if there is one.

    `effect` says what follows: "note" nothing, "check" a person may want to look, "unverified"
    the file cannot be vouched for, "hold" the file must wait for a person.
    """

    code: str
    text: str
    where: str
    line: int | None = None
    effect: Effect = "note"


@dataclass(frozen=True, slots=True)
class Segment:
    """One line as read: its number in the file (from 1), its id, and its elements, trimmed.

    Elements 01 and 02 of segment SD1 are passwords and are already withheld here.
    """

    line: int
    id: str
    elements: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MachineTime:
    """A moment by the machine's own clock, without offset; `at` is None if it cannot be read."""

    date_text: str | None = None
    time_text: str | None = None
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Integrity:
    """Whether the bytes are what the machine sent: the check value (CRC-16) and the counts.

    `stated` and `computed` are four hexadecimal digits; `computed` is over the bytes from ST to
    the line end before G85, with line ends as CR LF if they had to be restored.
    """

    verdict: Verdict
    stated: str | None = None
    computed: str | None = None
    byte_swapped: bool = False
    line_ends_restored: bool = False
    line_ends: Literal["crlf", "lf", "cr", "mixed", "none"] = "crlf"
    segments_stated: int | None = None
    segments_counted: int | None = None
    truncated: bool = False
    bytes_before: int = 0
    bytes_after: int = 0
    encoding: Literal["ascii", "utf-8", "cp1252", "latin-1"] = "ascii"


@dataclass(frozen=True, slots=True)
class Identity:
    """ID1, ID3, ID6 and the sender of DXS: which machine, where it says it stands, who read it."""

    asset: str | None = None
    serial: str | None = None
    model: str | None = None
    build_standard: str | None = None
    location: str | None = None
    user: str | None = None
    standard_level: str | None = None
    standard_revision: str | None = None
    route: str | None = None
    route_function: str | None = None
    route_person: str | None = None
    cash_bag: str | None = None
    sender: str | None = None
    sender_version: str | None = None
    transmission: str | None = None
    reader_serial: str | None = None
    reader_model: str | None = None
    reader_software: str | None = None
    reader_asset: str | None = None


@dataclass(frozen=True, slots=True)
class Currency:
    """ID4 as read. `alphabetic` falls back on the table of ISO 4217 numbers where only 402 is sent.

    `decimals` is the exponent by which the integers are minor units; `decimals_stated` is False
    where the file does not say and 2 was taken.
    """

    decimals: int = 2
    decimals_stated: bool = False
    alphabetic: str | None = None
    numeric: str | None = None
    numeric_text: str | None = None


@dataclass(frozen=True, slots=True)
class Clock:
    """ID5: the machine's clock as it was read, and its daylight-saving rule (OFF, NA, EU, AUS)."""

    time: MachineTime = MachineTime()
    daylight_saving: str | None = None


@dataclass(frozen=True, slots=True)
class Device:
    """One part with an identity of its own. A changed serial starts its counters afresh."""

    role: DeviceRole
    segment: str
    serial: str | None = None
    model: str | None = None
    software: str | None = None
    user: str | None = None
    asset: str | None = None


@dataclass(frozen=True, slots=True)
class PaymentSystem:
    """ID7: one payment device; `category` as numbered in the standard (0 coin, 30 bill, ...)."""

    index: str | None
    category: int | None
    maker: str | None
    serial: str | None
    model: str | None
    software: str | None
    status: str | None


@dataclass(frozen=True, slots=True)
class PaymentLine:
    """PA7: paid vends of one selection by payment device, price list and applied price.

    A breakdown of PA2, never to be added to it. `device` is CA cash, DA or DB cashless, TA token;
    `price_list` means nothing for cash. `selection_ordinal` says which of several selections of
    one id the line belongs to; None where the file has no such selection.
    """

    selection_id: str
    device: str | None
    price_list: int | None
    applied_price_minor: int | None
    paid: Counters
    selection_ordinal: int | None = None
    line: int = 0


@dataclass(frozen=True, slots=True)
class PriceList:
    """LA1: the price of a selection in one price list, with its vend counts."""

    number: int | None
    selection_id: str | None
    price_minor: int | None
    count_ever: int | None
    count_since_reset: int | None


@dataclass(frozen=True, slots=True)
class SoldOut:
    """PA5: when a selection ran dry. Some makers send the date of the last sale here instead."""

    time: MachineTime = MachineTime()
    asked_count_since_reset: int | None = None


@dataclass(frozen=True, slots=True)
class Selection:
    """PA1 with the PA2, PA3, PA4, PA5, PA6, PA7 and PA8 that belong to it.

    `ordinal` counts selections of the same id in the file, from 1. `motor_absent` is not sold
    out: no motor answers (on a wide coil the next motor is simply not there).
    """

    id: str
    ordinal: int = 1
    line: int = 0
    price_minor: int | None = None
    name: str | None = None
    capacity: int | None = None
    standard_fill: int | None = None
    quantity_per_vend: int | None = None
    motor_absent: bool | None = None
    current_level: int | None = None
    minimum_level: int | None = None
    paid: Counters = NO_COUNTERS
    discounts: Counters = NO_COUNTERS
    surcharges: Counters = NO_COUNTERS
    test: Counters = NO_COUNTERS
    free: Counters = NO_COUNTERS
    mixed_payment_cash_part: Counters = NO_COUNTERS
    sold_out: SoldOut | None = None
    text: str | None = None
    payment_lines: tuple[PaymentLine, ...] = ()
    segments_sent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EventRecord:
    """EA1: one event with its moment."""

    event_id: str
    base: str
    qualifier: str | None
    time: MachineTime
    minutes: int | None = None
    milliseconds: int | None = None
    user: str | None = None


@dataclass(frozen=True, slots=True)
class EventTotal:
    """EA2: how often an event happened, and whether it stands now.

    Alert on `active` or on a rise of `count_ever`, never on `count_ever` being above 0.
    """

    event_id: str
    base: str
    qualifier: str | None
    count_since_reset: int | None
    count_ever: int | None
    active: bool
    total_minutes: int | None = None
    user: str | None = None

    @property
    def over(self) -> bool:
        """It happened since the last reset and no longer stands."""
        return not self.active and bool(self.count_since_reset)


@dataclass(frozen=True, slots=True)
class ReadInfo:
    """EA3 to EA6: reads, resets, and when the machine was initialised, priced and serviced."""

    reads_with_reset_ever: int | None = None
    reads_ever: int | None = None
    resets_ever: int | None = None
    this_read: MachineTime = MachineTime()
    reader: str | None = None
    previous_read: MachineTime = MachineTime()
    previous_reader: str | None = None
    initialised: MachineTime = MachineTime()
    prices_set: MachineTime = MachineTime()
    serviced: MachineTime = MachineTime()
    power_outages: Counters = NO_COUNTERS
    interval_reset_mode: str | None = None
    event_reset_mode: str | None = None


@dataclass(frozen=True, slots=True)
class Report:
    """One audit file, read.

    `sha256` is of the whole file as received; `block_sha256` of the bytes from ST to the end of
    the G85 line with line ends as CR LF, so that the same read by two routes is known as one.
    `swapped_segments` names segments whose since-reset half exceeds the never-reset half
    throughout: the machine sends them the wrong way round. Their counters stand here as read;
    use :meth:`Counters.exchanged` before reasoning with them.
    """

    sha256: str
    block_sha256: str
    usable_as: UsableAs
    usable_why: tuple[str, ...]
    integrity: Integrity
    identity: Identity = Identity()
    currency: Currency = Currency()
    clock: Clock = Clock()
    read_info: ReadInfo = ReadInfo()
    devices: tuple[Device, ...] = ()
    payment_systems: tuple[PaymentSystem, ...] = ()
    totals: Totals = NO_TOTALS
    selections: tuple[Selection, ...] = ()
    stray_payment_lines: tuple[PaymentLine, ...] = ()
    price_lists: tuple[PriceList, ...] = ()
    coins: tuple[CoinLine, ...] = ()
    bills: tuple[BillLine, ...] = ()
    tubes: Tubes = NO_TUBES
    events: tuple[EventRecord, ...] = ()
    event_totals: tuple[EventTotal, ...] = ()
    swapped_segments: tuple[str, ...] = ()
    warnings: tuple[Warning, ...] = ()
    segments: tuple[Segment, ...] = field(default=(), repr=False)

    def device(self, role: DeviceRole) -> Device | None:
        """The device of that role, or None where the file names none."""
        return next((device for device in self.devices if device.role == role), None)

    def warning_codes(self) -> frozenset[str]:
        """The names of all warnings."""
        return frozenset(warning.code for warning in self.warnings)


__all__ = [
    "Amounts",
    "BillLine",
    "Clock",
    "CoinLine",
    "Counters",
    "Currency",
    "Device",
    "DeviceRole",
    "Effect",
    "EventRecord",
    "EventTotal",
    "Identity",
    "Integrity",
    "MachineTime",
    "PaymentLine",
    "PaymentSystem",
    "PriceList",
    "ReadInfo",
    "Report",
    "Segment",
    "Selection",
    "SoldOut",
    "Totals",
    "TubeLine",
    "Tubes",
    "UsableAs",
    "Verdict",
    "Warning",
]
