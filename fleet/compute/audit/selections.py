"""The product loop: PA1 with what belongs to it, payment lines, and price lists.

PA2, PA3, PA4, PA5 and PA8 belong to the nearest PA1 before them; PA6, PA7 and LA1 carry an id of
their own, and makers send them before or after the selection that they name.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from fleet.compute.audit.report import PaymentLine, PriceList, Segment, Selection, SoldOut
from fleet.compute.audit.totals import NO_COUNTERS
from fleet.compute.audit.values import Values, places

_PAID = places("PA2", "paid")
_DISCOUNTS = places("PA2", "discounts")
_SURCHARGES = places("PA2", "surcharges")
_TEST = places("PA3", "test")
_FREE = places("PA4", "free")
_MIXED = places("PA8", "mixed")
_PAYMENT = places("PA7", "paid")
_VENDS = places("LA1", "vends")
_OWN = frozenset(("PA2", "PA3", "PA4", "PA5", "PA8"))


@dataclass(frozen=True, slots=True)
class Products:
    """All that the product loop says."""

    selections: tuple[Selection, ...]
    stray_payment_lines: tuple[PaymentLine, ...]
    price_lists: tuple[PriceList, ...]


@dataclass(slots=True)
class _Draft:
    """A selection while its lines are gathered: segments by id, and its payment lines."""

    id: str
    ordinal: int
    head: Segment
    own: dict[str, Segment] = field(default_factory=dict)
    payments: list[Segment] = field(default_factory=list)
    ended: bool = False


def normalised_id(selection_id: str) -> str:
    """An id without leading zeros and in capitals, to match `03` with `3`. Exact match is first."""
    return selection_id.strip().upper().lstrip("0") or "0"


def read_products(segments: Iterable[Segment], values: Values) -> Products:
    """Selections in file order, with stray payment lines and price lists."""
    drafts: list[_Draft] = []
    latest: dict[str, _Draft] = {}
    seen: Counter[str] = Counter()
    waiting: list[Segment] = []
    price_lists: list[PriceList] = []
    for segment in segments:
        name = segment.id
        if name in _OWN:
            draft = drafts[-1] if drafts else None
            if draft is None or draft.ended or name in draft.own:
                _cannot_belong(segment, draft, values)
            else:
                draft.own[name] = segment
        elif name in ("PA7", "PA6"):
            draft = latest.get(segment.elements[0]) if segment.elements else None
            if draft is None:
                waiting.append(segment)
            elif name == "PA7":
                draft.payments.append(segment)
            else:
                _attach(segment, draft, values)
        elif name == "PA1":
            selection_id = segment.elements[0] if segment.elements else ""
            seen[selection_id] += 1
            draft = _Draft(selection_id, seen[selection_id], segment)
            if not selection_id:
                values.notices.add("selection_without_id", "PA101", segment.line)
            elif draft.ordinal > 1:
                values.notices.add("selection_id_repeated", "PA101", segment.line, selection_id)
            drafts.append(draft)
            latest[selection_id] = draft
        elif name == "LA1":
            price_lists.append(_price_list(segment, values))
    stray = _place_waiting(waiting, drafts, values)
    return Products(
        tuple(_selection(draft, values) for draft in drafts),
        tuple(_payment(segment, None, values) for segment in stray),
        tuple(price_lists),
    )


def _cannot_belong(segment: Segment, draft: _Draft | None, values: Values) -> None:
    """A line of a selection where there is none yet, or where the nearest has such a line."""
    if draft is None:
        values.notices.add("product_before_selection", segment.id, segment.line)
        return
    # Most likely the PA1 between the two was lost: from here on the figures are of a selection
    # that nobody knows, until the next PA1.
    draft.ended = True
    values.notices.add("repeated_segment", segment.id, segment.line)


def _attach(segment: Segment, draft: _Draft, values: Values) -> None:
    if segment.id == "PA7":
        draft.payments.append(segment)
    elif "PA6" in draft.own:
        values.notices.add("repeated_segment", "PA6", segment.line)
    else:
        draft.own["PA6"] = segment


def _place_waiting(waiting: list[Segment], drafts: list[_Draft], values: Values) -> list[Segment]:
    """Lines that name a selection not yet met when they came: by exact id, else by a like id."""
    if not waiting:
        return []
    exact: dict[str, _Draft] = {}
    alike: dict[str, list[_Draft]] = {}
    for draft in drafts:
        exact.setdefault(draft.id, draft)
        alike.setdefault(normalised_id(draft.id), []).append(draft)
    stray = []
    for segment in waiting:
        selection_id = segment.elements[0] if segment.elements else ""
        target = exact.get(selection_id)
        if target is None and selection_id:
            like = alike.get(normalised_id(selection_id), [])
            if len(like) == 1:
                target = like[0]
                detail = f"{selection_id} for {target.id}"
                values.notices.add("selection_id_variant", f"{segment.id}01", segment.line, detail)
        if target is not None:
            _attach(segment, target, values)
        elif segment.id == "PA7":
            values.notices.add(
                "payment_line_without_selection", "PA701", segment.line, selection_id
            )
            stray.append(segment)
    return stray


def _selection(draft: _Draft, values: Values) -> Selection:
    head, own = draft.head, draft.own
    ordinal = draft.ordinal
    lines = tuple([_payment(segment, ordinal, values) for segment in draft.payments])
    if len(lines) > 1:
        keys = {(p.device, p.price_list, p.applied_price_minor) for p in lines}
        if len(keys) < len(lines):
            values.notices.add("payment_line_repeated", "PA7", lines[-1].line, draft.id)
    paid = own.get("PA2")
    sent_of_paid = len(paid.elements) if paid is not None else 0
    sold_out = own.get("PA5")
    text = own.get("PA6")
    sent = ["PA1", *own]
    if lines:
        sent.append("PA7")
    return Selection(
        id=draft.id,
        ordinal=ordinal,
        line=head.line,
        price_minor=values.number(head, 2),
        name=_name(values.text(head, 3)),
        capacity=values.number(head, 4),
        standard_fill=values.number(head, 5),
        quantity_per_vend=values.number(head, 6),
        motor_absent=None if len(head.elements) < 7 else values.number(head, 7) == 1,
        current_level=values.number(head, 8),
        minimum_level=values.number(head, 9),
        paid=values.counters(paid, _PAID),
        discounts=values.counters(paid, _DISCOUNTS) if sent_of_paid > 4 else NO_COUNTERS,
        surcharges=values.counters(paid, _SURCHARGES) if sent_of_paid > 8 else NO_COUNTERS,
        test=values.counters(own.get("PA3"), _TEST),
        free=values.counters(own.get("PA4"), _FREE),
        mixed_payment_cash_part=values.counters(own["PA8"], _MIXED)
        if "PA8" in own
        else NO_COUNTERS,
        sold_out=None
        if sold_out is None
        else SoldOut(values.time(sold_out, 1, 2), values.number(sold_out, 3)),
        text=None if text is None else values.text(text, 2),
        payment_lines=lines,
        segments_sent=tuple(sent),
    )


def _name(text: str | None) -> str | None:
    """A name on one line: some machines send `#` where their display breaks it."""
    if text is None:
        return None
    if "#" not in text and "  " not in text:
        return text
    return " ".join(text.replace("#", " ").split()) or None


def _payment(segment: Segment, ordinal: int | None, values: Values) -> PaymentLine:
    return PaymentLine(
        segment.elements[0] if segment.elements else "",
        values.text(segment, 2),
        values.number(segment, 3),
        values.number(segment, 4),
        values.counters(segment, _PAYMENT),
        ordinal,
        segment.line,
    )


def _price_list(segment: Segment, values: Values) -> PriceList:
    ever, since_reset = values.counts(segment, _VENDS)
    return PriceList(
        number=values.number(segment, 1),
        selection_id=values.text(segment, 2),
        price_minor=values.number(segment, 3),
        count_ever=ever,
        count_since_reset=since_reset,
    )
