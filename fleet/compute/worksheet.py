"""The steps of a changeover, in the order a hand makes them, with what to set and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from fleet.compute.positions import Position, SpiralPosition
from fleet.compute.rails import End, Rail
from fleet.compute.results import Hold
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.units import Units
from fleet.compute.words import number_in_words, said


@dataclass(frozen=True, slots=True)
class Wish:
    """How a column is to be set. `price` is said as the business says money; None: not set here."""

    product: str
    deep: int
    front_notch: int | None
    rear_notch: int | None
    program: str | None
    price: str
    picture: str
    capacity: int


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `setting` is what goes in the box; `changes` is False where it stays as it was."""

    code: str
    text: str
    setting: str = ""
    why: str = ""
    changes: bool = True


def steps(
    position: Position,
    before: Wish | None,
    after: Wish,
    rules: Rules = DEFAULT_RULES,
    units: Units = Units.MILLIMETRES,
    *,
    holds: Mapping[End, Hold] | None = None,
) -> tuple[Step, ...]:
    """The whole order of work: empty, set, program, show, fill, test, note.

    `holds` says what each half's spacers hold the products by; a half it leaves out is held at the
    end. The order and the checks are common practice, no published source.
    """
    found = [_empty(before)]
    if isinstance(position, SpiralPosition):
        found.append(
            Step(
                "set_spiral",
                "See that the spiral turns freely and its end stands as its neighbours' do.",
                f"{position.turns} turns",
                changes=False,
            )
        )
    else:
        for end, half in position.halves():
            notch = after.front_notch if end is End.FRONT else after.rear_notch
            old = None
            if before is not None:
                old = before.front_notch if end is End.FRONT else before.rear_notch
            if notch is not None:
                found.append(_spacer(end, notch, old, _words(half.rail, end, notch)))
        by = [(holds or {}).get(end, Hold.END) for end, _ in position.halves()]
        found += _checks(by, rules, units)
    if after.program is not None:
        found.append(_program(after, before))
    elif not isinstance(position, SpiralPosition):
        found.append(_program_by_manual(after, before))
    found += [_price(after, before), _picture(after, before)]
    found += [
        Step(
            "fill",
            f"Fill with {after.product}, base against the beam, layer upon layer; "
            "do not drop products in from above."
            if not isinstance(position, SpiralPosition)
            else f"Fill with {after.product}, one upright in each turn, facing the door.",
            f"{after.capacity} at most" if after.capacity else "",
        ),
        Step(
            "test",
            "Make the test vends of the plan below with the door shut, and get your money back.",
        ),
        Step(
            "note",
            "Note the settings as left, the test vends and what came out; shutting the door "
            "returns the machine to sale.",
        ),
    ]
    return tuple(found)


def _empty(before: Wish | None) -> Step:
    what = before.product if before is not None else "products"
    return Step(
        "empty",
        f"Take all {what} out of the column and its cradle; count them by condition.",
        why="One of the old kind left below comes out to the first customer of the new.",
    )


def _words(rail: Rail, end: End, notch: int) -> str:
    """A kept sheet outlives the measures it was made by, and still has to be readable."""
    if notch >= rail.notches:
        return f"notch {notch}, which this rail as it is measured now does not have"
    return said(rail, end, notch)


def _spacer(end: End, notch: int, old: int | None, words: str) -> Step:
    which = "Front spacers, left and right alike" if end is End.FRONT else "Rear plate, both sides"
    same = old == notch
    was = "" if old is None or same else f" (was {old})"
    return Step(
        f"set_{end.value}",
        f"{which}: {words}{was}." if not same else f"{which}: stays at {words}.",
        str(notch),
        changes=not same,
    )


def _checks(by: list[Hold], rules: Rules, units: Units) -> list[Step]:
    """What to see and feel with one layer in, for each way a half is held, once."""
    found = []
    if Hold.NECK in by:
        found.append(
            Step(
                "check_neck",
                "Lay one layer in and see that the spacers lie in the neck, clear of the shoulder "
                "and of the cap, from the bottom of the pair to its top.",
                why="On the shoulder they bind; at the cap the bottle can slide off the beam.",
            )
        )
    if Hold.CAP in by:
        found.append(
            Step(
                "check_cap",
                "Lay one layer in and see that the spacers stand just beyond the cap and touch it "
                "nowhere, from bottom to top.",
                why="Touching, they bind; farther off, the products shift off the beam.",
            )
        )
    if Hold.END in by:
        found.append(
            Step(
                "check_play",
                "Lay one layer in and feel the play behind the products from the bottom of the "
                f"plate to its top: about {units.length(rules.least_play_mm)}, an index finger.",
                why="Less, and they bind on their way down; more, and they shift off the beam. A "
                "plate can stand crooked.",
            )
        )
    return found


_PROGRAMMED_OTHERWISE = (
    "Programmed deeper or shallower than loaded, it gives two for one payment or calls itself "
    "sold out while full."
)


def _program(after: Wish, before: Wish | None) -> Step:
    same = before is not None and before.program == after.program
    deep = number_in_words(after.deep)
    return Step(
        "program",
        f"Program the selection for {deep} deep"
        + (", as it was." if same else ". See that no other selection changed with it."),
        after.program or "",
        _PROGRAMMED_OTHERWISE,
        changes=not same,
    )


def _program_by_manual(after: Wish, before: Wish | None) -> Step:
    same = before is not None and before.deep == after.deep
    deep = number_in_words(after.deep)
    return Step(
        "program",
        f"See that the board is set for {deep} deep, as it was."
        if same
        else f"Set the board for {deep} deep by the maker's manual; no program of it is recorded.",
        f"{after.deep} deep",
        _PROGRAMMED_OTHERWISE,
        changes=not same,
    )


def _price(after: Wish, before: Wish | None) -> Step:
    same = before is not None and before.price == after.price
    return Step(
        "price",
        "Price stays; see that the display says so." if same else "Set the price on the board.",
        after.price,
        changes=not same,
    )


def _picture(after: Wish, before: Wish | None) -> Step:
    same = before is not None and before.picture == after.picture
    return Step(
        "picture",
        "See that the button shows the product." if same else "Change the button's picture.",
        after.picture,
        changes=not same,
    )
