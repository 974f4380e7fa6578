"""Who and when: the machine, its devices, its currency, its clock, and the reads it has had."""

from fleet.compute.audit.currencies import BY_NUMBER, DECIMALS, iso_number
from fleet.compute.audit.report import (
    Clock,
    Currency,
    Device,
    DeviceRole,
    Identity,
    PaymentSystem,
    ReadInfo,
    Segment,
)
from fleet.compute.audit.totals import Counters
from fleet.compute.audit.values import Values, places

_ROLES: dict[str, DeviceRole] = {
    "AM1": "audit_module",
    "CB1": "control_board",
    "BA1": "bill_validator",
    "CA1": "coin_mechanism",
    "DA1": "cashless_1",
    "DB1": "cashless_2",
    "TA1": "token_mechanism",
    "HA1": "hopper_1",
    "HB1": "hopper_2",
}
_OUTAGES = places("EA7", "power_outages")
_OUTAGES_OLD = places("CA5", "power_outages")
_BLANK = Segment(0, "", ())
_MOST_DECIMALS = 4

Sent = dict[str, Segment]


def read_identity(sent: Sent, values: Values) -> Identity:
    """The machine, from ID1, ID2, ID3, ID6 and DXS, each blank where it was not sent."""

    def text(segment: str, position: int) -> str | None:
        return values.text(sent.get(segment, _BLANK), position)

    return Identity(
        serial=text("ID1", 1),
        model=text("ID1", 2),
        build_standard=text("ID1", 3),
        location=text("ID1", 4),
        user=text("ID1", 5),
        asset=text("ID1", 6),
        standard_level=text("ID1", 7),
        standard_revision=text("ID1", 8),
        route=text("ID3", 1),
        route_function=text("ID3", 2),
        route_person=text("ID3", 3),
        cash_bag=text("ID6", 1),
        sender=text("DXS", 1),
        sender_version=text("DXS", 3),
        transmission=text("DXS", 4),
        reader_serial=text("ID2", 1),
        reader_model=text("ID2", 2),
        reader_software=text("ID2", 3),
        reader_asset=text("ID2", 5),
    )


def read_devices(sent: Sent, values: Values) -> tuple[Device, ...]:
    """The parts that name themselves, in the order of the standard's table."""
    return tuple(
        Device(
            role=role,
            segment=name,
            serial=values.text(sent[name], 1),
            model=values.text(sent[name], 2),
            software=values.text(sent[name], 3),
            user=values.text(sent[name], 4),
            asset=values.text(sent[name], 5),
        )
        for name, role in _ROLES.items()
        if name in sent
    )


def read_payment_system(segment: Segment, values: Values) -> PaymentSystem:
    """One ID7 line."""
    return PaymentSystem(
        index=values.text(segment, 1),
        category=values.number(segment, 2),
        maker=values.text(segment, 3),
        serial=values.text(segment, 4),
        model=values.text(segment, 5),
        software=values.text(segment, 6),
        status=values.text(segment, 7),
    )


def read_currency(sent: Sent, values: Values) -> Currency:
    """ID4. Two decimals where none are stated; a conflict is named, and nothing is converted."""
    segment = sent.get("ID4", _BLANK)
    notices = values.notices
    decimals = values.number(segment, 1)
    if decimals is not None and decimals > _MOST_DECIMALS:
        notices.add("decimals_unusual", "ID401", segment.line, str(decimals)[:12])
        decimals = None
    numeric_text = values.text(segment, 2)
    numeric = iso_number(numeric_text) if numeric_text else None
    letters = values.text(segment, 3)
    by_number = BY_NUMBER[numeric][0] if numeric and numeric in BY_NUMBER else None
    alphabetic = letters.upper() if letters else by_number
    if decimals is None:
        notices.add("decimals_missing", "ID401", segment.line or None)
    if alphabetic is None and numeric is None:
        notices.add("currency_unknown", "ID4", segment.line or None)
    if by_number and alphabetic != by_number:
        detail = f"{numeric_text} is {by_number}, not {str(alphabetic)[:12]}"
        notices.add("currency_conflict", "ID403", segment.line, detail)
    usual = DECIMALS.get(alphabetic or "")
    if usual is not None and decimals is not None and decimals != usual:
        notices.add("decimals_unusual", "ID401", segment.line, f"{decimals}, usually {usual}")
    return Currency(
        decimals=2 if decimals is None else decimals,
        decimals_stated=decimals is not None,
        alphabetic=alphabetic,
        numeric=numeric,
        numeric_text=numeric_text,
    )


def read_clock(sent: Sent, values: Values) -> Clock:
    """ID5."""
    segment = sent.get("ID5", _BLANK)
    return Clock(values.time(segment, 1, 2, 3), values.text(segment, 4))


def read_info(sent: Sent, values: Values) -> ReadInfo:
    """EA3 to EA7 and SD1; where EA7 or EA3 is missing, their old places CA5 and CA6."""
    reads = sent.get("EA3", _BLANK)
    outages = values.counts(sent.get("EA7", _BLANK), _OUTAGES)
    if outages == (None, None):
        outages = values.counts(sent.get("CA5", _BLANK), _OUTAGES_OLD)
    old_reads = values.number(sent.get("CA6", _BLANK), 1)
    control = sent.get("SD1", _BLANK)
    with_reset = values.number(reads, 1)
    return ReadInfo(
        reads_with_reset_ever=old_reads if with_reset is None else with_reset,
        reads_ever=values.number(reads, 9),
        resets_ever=values.number(reads, 10),
        this_read=values.time(reads, 2, 3),
        reader=values.text(reads, 4),
        previous_read=values.time(reads, 5, 6),
        previous_reader=values.text(reads, 7),
        initialised=values.time(sent.get("EA4"), 1, 2),
        prices_set=values.time(sent.get("EA5"), 1, 2),
        serviced=values.time(sent.get("EA6"), 1, 2),
        power_outages=Counters(count_ever=outages[0], count_since_reset=outages[1]),
        interval_reset_mode=values.text(control, 5),
        event_reset_mode=values.text(control, 6),
    )
