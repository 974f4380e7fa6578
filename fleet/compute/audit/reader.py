"""Reads an audit file: bytes in, a :class:`Report` out, whatever the bytes are."""

from collections import defaultdict
from collections.abc import Iterable
from hashlib import sha256

from fleet.compute.audit import limits
from fleet.compute.audit.cash_lines import read_bills, read_coins, read_tubes
from fleet.compute.audit.checks import Figures, check_money
from fleet.compute.audit.dictionary import SEGMENTS
from fleet.compute.audit.envelope import examine
from fleet.compute.audit.events import read_event_totals, read_events
from fleet.compute.audit.halves import find_swapped
from fleet.compute.audit.identity import (
    Sent,
    read_clock,
    read_currency,
    read_devices,
    read_identity,
    read_info,
    read_payment_system,
)
from fleet.compute.audit.lines import find_block
from fleet.compute.audit.machine_totals import read_totals
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import Integrity, Report, Segment, UsableAs
from fleet.compute.audit.selections import read_products
from fleet.compute.audit.values import Values

# Segments that come once for each product, coin, event and so on.
_LISTED = frozenset(
    f"{family}{number}"
    for family, numbers in (
        ("PA", (1, 2, 3, 4, 5, 6, 7, 8)),
        ("PP", (1,)),
        ("LA", (1,)),
        ("SA", (1, 2)),
        ("MR", (2,)),
        ("CA", (11, 12, 13, 14, 15, 17, 18, 19, 20, 21, 22, 23, 24)),
        ("DA", (7, 8)),
        ("DB", (7, 8)),
        ("TA", (7, 8, 9, 10)),
        ("HA", (4,)),
        ("HB", (4,)),
        ("EA", (1, 2, 8)),
        ("ID", (7,)),
        ("MA", (5,)),
        ("L", ("S", "E")),
    )
    for number in numbers
)
# Settings twins of the audit segments (PC1 sets what PA1 shows) are known, but no counters.
_SETTINGS = frozenset(("IC", "PC", "LC", "MC", "CC", "BC", "DC", "DD", "TC", "HC", "EC"))


def read_report(data: bytes) -> Report:
    """The report of one audit file. Never raises, for any bytes; all oddities are warnings.

    `usable_as` says what may follow: "accepted"; "unverified" (nothing vouches for the bytes);
    "held" (damaged, cut short, or no audit file: a person decides). `usable_why` names why.
    """
    notices = Notices()
    too_much = _beyond_limits(data)
    if too_much:
        notices.add(too_much, "file", None, f"{len(data)} bytes")
        return _unread(data, notices)
    block = find_block(data, notices)
    sealed = examine(block, notices)
    listed, sent = _sort(sealed.data, notices)
    if not listed and not sent:
        notices.add("no_audit_data", "file")
    values = Values(notices)
    currency = read_currency(sent, values)
    totals = read_totals(sent, currency.decimals, values)
    products = read_products(sealed.data, values)
    coins = read_coins([*listed["CA11"], *listed["CA12"], *listed["CA13"]], values)
    tubes = read_tubes(listed["CA15"], listed["CA17"], values)
    swapped = find_swapped(products.selections, products.stray_payment_lines, totals, notices)
    names = frozenset(sent) | {name for name, found in listed.items() if found}
    check_money(
        Figures(totals, products.selections, coins, tubes, frozenset(swapped), names), notices
    )
    usable_as, why = _usable(notices)
    return Report(
        sha256=sha256(data).hexdigest(),
        block_sha256=sealed.sha256,
        usable_as=usable_as,
        usable_why=why,
        integrity=sealed.integrity,
        identity=read_identity(sent, values),
        currency=currency,
        clock=read_clock(sent, values),
        read_info=read_info(sent, values),
        devices=read_devices(sent, values),
        payment_systems=tuple(read_payment_system(each, values) for each in listed["ID7"]),
        totals=totals,
        selections=products.selections,
        stray_payment_lines=products.stray_payment_lines,
        price_lists=products.price_lists,
        coins=coins,
        bills=read_bills(listed["CA14"], values),
        tubes=tubes,
        events=read_events(listed["EA1"], values),
        event_totals=read_event_totals(listed["EA2"], values),
        swapped_segments=swapped,
        warnings=notices.listed(),
        segments=block.segments,
    )


def _beyond_limits(data: bytes) -> str | None:
    if not data:
        return "empty_file"
    if len(data) > limits.MOST_BYTES:
        return "too_large"
    # Either kind of line end alone is a lower bound, so CR LF is not counted twice.
    if max(data.count(b"\n"), data.count(b"\r")) > limits.MOST_LINES:
        return "too_many_lines"
    return None


def _unread(data: bytes, notices: Notices) -> Report:
    fingerprint = sha256(data).hexdigest()
    usable_as, why = _usable(notices)
    return Report(
        sha256=fingerprint,
        block_sha256=fingerprint,
        usable_as=usable_as,
        usable_why=why,
        integrity=Integrity("missing", line_ends="none"),
        warnings=notices.listed(),
    )


def _sort(
    segments: Iterable[Segment], notices: Notices
) -> tuple[defaultdict[str, list[Segment]], Sent]:
    """Segments by id: lists of those that repeat by right, and the first of every other."""
    listed: defaultdict[str, list[Segment]] = defaultdict(list)
    sent: Sent = {}
    for segment in segments:
        name = segment.id
        if name in _LISTED:
            listed[name].append(segment)
        elif name not in SEGMENTS:
            if name[:2] not in _SETTINGS or not name[2:].isdigit():
                notices.add("unknown_segment", name[:12], segment.line)
        elif name not in sent:
            sent[name] = segment
        elif sent[name].elements != segment.elements:
            notices.add("repeated_segment", name, segment.line)
    return listed, sent


def _usable(notices: Notices) -> tuple[UsableAs, tuple[str, ...]]:
    held = notices.codes_with("hold")
    if held:
        return "held", held
    unverified = notices.codes_with("unverified")
    if unverified:
        return "unverified", unverified
    return "accepted", ()
