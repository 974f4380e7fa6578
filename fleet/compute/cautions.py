"""What to mind when a person is sent to work on a machine. Usual cautions, in plain words.

They are common practice and no more: the maker's manual, local code and licensed trades come
first, and the last caution of every list says so.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum

from fleet.compute.refrigerants import refrigerant_cautions
from fleet.compute.results import Reason


class Work(StrEnum):
    """Kinds of work that can hurt someone."""

    CHANGEOVER = "changeover"
    BEHIND_PANELS = "behind_panels"
    MOVING = "moving"
    REFRIGERATION = "refrigeration"


_UNPLUG = Reason(
    "unplug_first",
    "Unplug the machine before reaching behind a panel or into the mechanism; a switch on the "
    "door does not make it dead.",
)
_MOVING_MOTOR = Reason(
    "moving_motor",
    "The motor and the cradle can start during a test vend: keep hands, hair and sleeves out of "
    "the column and the chute until it has stopped.",
)
_TIPPING = Reason(
    "tipping",
    "A cabinet can tip with its door open: see that it stands level and is anchored or blocked, "
    "and never rock it or climb on it.",
)
_LIFTING = Reason(
    "lifting",
    "Carry full cases close to the body, one at a time; lift with the legs.",
)
_EDGES = Reason(
    "sharp_edges",
    "Sheet metal and spacers have sharp edges: wear gloves, and do not force a spacer.",
)
_FALLING = Reason(
    "falling_products",
    "Empty the column, or hold its products back, before moving a spacer: full bottles and cans "
    "roll out of an open door.",
)
_TWO_PEOPLE = Reason(
    "two_people",
    "A cabinet weighs 300 kg and more with its stock: empty it first, and move it with two "
    "people and a hand truck made for it.",
)
_SEALED = Reason(
    "sealed_circuit",
    "A sealed refrigeration circuit is for licensed technicians only.",
)
_DEFER = Reason(
    "manual_first",
    "Where the maker's manual or local code says otherwise, follow it; electrical and "
    "refrigeration repairs belong to licensed trades.",
)

_LISTS = {
    Work.CHANGEOVER: (_UNPLUG, _FALLING, _EDGES, _MOVING_MOTOR, _TIPPING, _LIFTING),
    Work.BEHIND_PANELS: (_UNPLUG, _EDGES, _MOVING_MOTOR, _TIPPING),
    Work.MOVING: (_UNPLUG, _TWO_PEOPLE, _TIPPING),
    Work.REFRIGERATION: (_UNPLUG, _SEALED, _EDGES),
}


def cautions_for(work: Work) -> tuple[Reason, ...]:
    """The cautions to show beside this work, the deferral last."""
    return (*_LISTS[work], _DEFER)


def cautions_of_machine(
    *, cools: bool, refrigerant: str = "", charge_g: Decimal | None = None
) -> tuple[Reason, ...]:
    """What to mind at any work on a machine of a kind: lifting, tipping, its refrigerant."""
    of_the_cold = refrigerant_cautions(refrigerant, charge_g) if cools else ()
    return (_TIPPING, _LIFTING, _TWO_PEOPLE, *of_the_cold, *((_SEALED,) if cools else ()), _DEFER)
