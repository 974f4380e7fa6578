"""Money by the piece: coins and bills by their value, and the tubes that give change."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class CoinLine:
    """CA11, CA12 and CA13 of one coin value: coins in, paid out and hand-filled."""

    value_minor: int
    in_ever: int | None = None
    in_since_reset: int | None = None
    to_box_ever: int | None = None
    to_box_since_reset: int | None = None
    to_tubes_ever: int | None = None
    to_tubes_since_reset: int | None = None
    out_ever: int | None = None
    out_since_reset: int | None = None
    out_by_hand_ever: int | None = None
    out_by_hand_since_reset: int | None = None
    filled_ever: int | None = None
    filled_since_reset: int | None = None


@dataclass(frozen=True, slots=True)
class BillLine:
    """CA14 of one bill value. Stacked is money held; validated counts returned bills as well."""

    value_minor: int
    validated_ever: int | None = None
    validated_since_reset: int | None = None
    stacked_ever: int | None = None
    stacked_since_reset: int | None = None


@dataclass(frozen=True, slots=True)
class TubeLine:
    """CA17: one coin tube by its best guess. `full` is the tube's own full sensor."""

    coin_type: int | None
    value_minor: int | None
    count: int | None
    full: bool | None
    filled_count: int | None = None
    emptied_count: int | None = None


@dataclass(frozen=True, slots=True)
class Tubes:
    """CA15 and CA17: the change that the coin mechanism believes it holds."""

    total_value_minor: int | None = None
    counts: tuple[int | None, ...] = ()
    lines: tuple[TubeLine, ...] = ()


NO_TUBES = Tubes()
