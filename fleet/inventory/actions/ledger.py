"""Adding to the ledger. Every other verb of stock ends here."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from django.db import transaction

from people.errors import Unable, Unacceptable
from people.models import Person

from ..book import open_book
from ..models import Lot, Movement, StockPlace
from ..posting import ANY, AnyLot, Line, Posting, enter, lock_keys, write
from . import places
from .errors import KeyReused, NotEnough

__all__ = ["ANY", "Line", "NotEnough", "Posting", "correct", "post", "post_all"]

CLOCKS_DIFFER = timedelta(minutes=10)
"""How far a sender's clock may run ahead of ours. From experience; no published source."""
MOST = 1_000_000
"""Units in one line; more is a slip of the hand."""


def post(
    *,
    reason: str,
    lines: Sequence[Line],
    actor: Person | None,
    happened_at: datetime,
    now: datetime,
    key: str | None = None,
    corrects: Movement | None = None,
    waste_reason: str = "",
    note: str = "",
) -> Movement:
    """Record that products moved. `actor` None: the service by itself.

    The same key again gives the same movement and changes nothing. Raises NotEnough when a
    warehouse or truck does not hold what is asked, KeyReused when the key came with something else,
    Unacceptable for lines that can never be right.
    """
    posting = Posting(
        reason=reason,
        lines=lines,
        happened_at=happened_at,
        key=key,
        corrects=corrects,
        waste_reason=waste_reason,
        note=note,
    )
    return post_all(postings=[posting], actor=actor, now=now)[0]


@transaction.atomic
def post_all(*, postings: Sequence[Posting], actor: Person | None, now: datetime) -> list[Movement]:
    """Record several happenings, all or none, in the order given; a movement for each.

    The statements sent to the database do not grow with their number. Raises as `post` does.
    """
    for posting in postings:
        require(posting, now=now)
    known = _known(postings, actor)
    fresh = {
        posting.key or index: posting
        for index, posting in enumerate(postings)
        if posting.key is None or posting.key not in known
    }
    entered = _enter_all(list(fresh.values()), actor=actor, now=now) if fresh else []
    found = dict(zip(fresh, entered, strict=True))
    return [
        known.get(posting.key or "") or found[posting.key or index]
        for index, posting in enumerate(postings)
    ]


def _enter_all(
    postings: Sequence[Posting], *, actor: Person | None, now: datetime
) -> list[Movement]:
    lines = [line for posting in postings for line in posting.lines]
    book = open_book(
        _places_of(lines),
        {line.product.pk for line in lines},
        since=min(posting.happened_at for posting in postings),
    )
    for posting in postings:
        # Once more, now that they are locked: one may have been closed since it was looked up.
        for index, line in enumerate(posting.lines):
            closed = _closed(book.places.get(line.to_place.pk, line.to_place), posting.reason)
            if closed:
                raise Unacceptable(closed, fields={f"lines.{index}": closed})
    book.expect_drops(
        (line.from_place.pk, line.product.pk)
        for line in lines
        if isinstance(line.lot, AnyLot) and line.from_place.is_held
    )
    unexplained = places.the("unexplained")
    entries = [
        enter(book, posting, unexplained=unexplained, actor=actor, now=now) for posting in postings
    ]
    write(book, [one for entered in entries for one in entered], actor=actor, now=now)
    return [entered[0].movement for entered in entries]


@transaction.atomic
def correct(
    *,
    movement: Movement,
    actor: Person | None,
    now: datetime,
    note: str,
    key: str | None = None,
) -> Movement:
    """Take a movement back: the opposite lines, at the moment of the movement itself.

    Raises Unable when it was taken back already, or is one that a new count puts right; NotEnough
    when what it brought has been moved on.
    """
    # Locked, so that two corrections follow each other and the second sees the first.
    movement = Movement.objects.select_for_update(of=("self",), no_key=True).get(pk=movement.pk)
    earlier = Movement.objects.filter(corrects=movement).first()
    if earlier is not None:
        if key is not None and earlier.key == key:
            return earlier
        raise Unable(f"{movement} was taken back already", code="already_corrected")
    follows = movement.reason in (Movement.Reason.COUNT, Movement.Reason.SALE)
    # The first count of a place is its first record.
    if follows or movement.counts.exists():
        raise Unable(
            f"{movement} follows from counts and reads; count again instead", code="count_again"
        )
    if movement.reason == Movement.Reason.CORRECTION:
        raise Unable(
            f"{movement} is a correction itself; record the happening anew", code="is_correction"
        )
    if not note.strip():
        raise Unacceptable("say why it is taken back", fields={"note": "say why"})
    rows = movement.lines.select_related("product", "lot", "from_place", "to_place").order_by("pk")
    return post(
        reason=Movement.Reason.CORRECTION,
        lines=[
            Line(row.product, row.quantity, row.to_place, row.from_place, row.lot, row.unit_cost)
            for row in rows
        ],
        actor=actor,
        happened_at=movement.happened_at,
        now=now,
        key=key,
        corrects=movement,
        note=note,
    )


def require(posting: Posting, *, now: datetime) -> None:
    """Refuse what can never be right. Raises Unacceptable, naming what and where."""
    wrong: dict[str, str] = {}
    if posting.reason not in Movement.Reason.values:
        wrong["reason"] = f"{posting.reason!r} is none of {', '.join(Movement.Reason.values)}"
    if posting.reason == Movement.Reason.WASTE:
        if posting.waste_reason not in set(Movement.WasteReason.values) - {""}:
            known = ", ".join(value for value in Movement.WasteReason.values if value)
            wrong["waste_reason"] = f"say why it is wasted: {known}"
    elif posting.waste_reason:
        wrong["waste_reason"] = "only waste has such a reason"
    if posting.key is not None and not 1 <= len(posting.key) <= 200:
        wrong["key"] = "a key has 1 to 200 characters"
    wrong |= moment_problem("happened_at", posting.happened_at, now)
    if not posting.lines:
        wrong["lines"] = "nothing is said to have moved"
    for index, line in enumerate(posting.lines):
        said = _line_problem(line, posting.reason)
        if said:
            wrong[f"lines.{index}"] = said
    if wrong:
        raise Unacceptable("; ".join(f"{k}: {v}" for k, v in wrong.items()), fields=wrong)


def moment_problem(field: str, moment: datetime, now: datetime) -> dict[str, str]:
    """What is wrong with the moment a person says, by field; empty when nothing is."""
    if moment.tzinfo is None:
        return {field: "give the offset from UTC with the time"}
    if moment > now + CLOCKS_DIFFER:
        return {field: f"{moment.isoformat()} is still to come; the clock that says so runs ahead"}
    return {}


def _line_problem(line: Line, reason: str) -> str:
    if isinstance(line.quantity, bool) or not isinstance(line.quantity, int):
        return f"{line.quantity!r} is not a whole number of units"
    if not 1 <= line.quantity <= MOST:
        return f"{line.quantity} {line.product}: move 1 to {MOST} units"
    if line.from_place.pk == line.to_place.pk:
        return f"{line.product} cannot move from {line.from_place} to itself"
    if isinstance(line.lot, Lot) and line.lot.product_id != line.product.pk:
        return f"lot {line.lot} is of {line.lot.product}, not of {line.product}"
    return _closed(line.to_place, reason)


def _closed(place: StockPlace, reason: str) -> str:
    if place.active or reason in (Movement.Reason.CORRECTION, Movement.Reason.COUNT):
        return ""
    return f"{place} is no longer in use"


def _known(postings: Iterable[Posting], actor: Person | None) -> Mapping[str, Movement]:
    asked: dict[str, str] = {}
    for posting in postings:
        if posting.key is None:
            continue
        fingerprint = posting.fingerprint()
        if asked.setdefault(posting.key, fingerprint) != fingerprint:
            raise KeyReused(posting.key)
    if not asked:
        return {}
    lock_keys(actor, asked)
    rows = Movement.objects.filter(actor=actor, key__in=list(asked))
    known = {movement.key or "": movement for movement in rows}
    for key, movement in known.items():
        if movement.fingerprint != asked[key]:
            raise KeyReused(key)
    return known


def _places_of(lines: Iterable[Line]) -> list[StockPlace]:
    return list(
        {place.pk: place for line in lines for place in (line.from_place, line.to_place)}.values()
    )
