"""When a machine with food that is kept cold or hot must stop selling, and what lifts that.

FDA Food Code 4-204.111: such a machine stops when its power or mechanism fails or its cabinet
leaves the safe temperature, and sells again only once it is serviced and restocked with safe food.
Only after filling or service may the air be warmer (or cooler, of hot food) for a while.
Temperatures in °C; a reading at the limit is safe. No clock: `now` is passed in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Final, TypeAlias


class BadReading(ValueError):
    """Readings or limits that cannot be: which field, what is wrong, what would be right."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.field = field
        self.message = message


class Hold(StrEnum):
    """How the food is kept."""

    COLD = "cold"
    HOT = "hot"


def degrees(celsius: Decimal) -> str:
    """A temperature in both scales, as thermometers have one or the other: `5.0 °C (41.0 °F)`."""
    return f"{celsius} °C ({celsius * 9 / 5 + 32:.1f} °F)"


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one state. `cold_c` is the most that cold food may have, `hot_c` the least of hot.

    `cold_minutes` and `hot_minutes` are how long after filling or service the air may be beyond.
    `status` is `read`, `secondary` or `memory`: how far the source was checked.
    """

    state: str = ""
    cold_c: Decimal = Decimal("5.0")
    cold_minutes: int = 30
    hot_c: Decimal = Decimal("57.2")
    hot_minutes: int = 120
    citation: str = "FDA Food Code 4-204.111"
    status: str = "read"
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("cold_c", "hot_c"):
            value: Decimal = getattr(self, name)
            if not value.is_finite() or not -40 <= value <= 120:
                raise BadReading(name, f"{value} °C; give a temperature from -40 to 120 °C")
        if self.cold_c >= self.hot_c:
            raise BadReading("cold_c", f"{self.cold_c} °C is not below hot_c, {self.hot_c} °C")
        for name in ("cold_minutes", "hot_minutes"):
            minutes: int = getattr(self, name)
            if not 0 <= minutes <= 1440:
                raise BadReading(name, f"{minutes} minutes; give from 0 to 1440")

    def beyond(self, hold: Hold, temperature_c: Decimal) -> bool:
        """Whether food held so is at an unsafe temperature."""
        if hold is Hold.COLD:
            return temperature_c > self.cold_c
        return temperature_c < self.hot_c

    def allowed(self, hold: Hold) -> timedelta:
        """How long after filling or service the air may be beyond the limit."""
        return timedelta(minutes=self.cold_minutes if hold is Hold.COLD else self.hot_minutes)


# 41 °F is 5 °C and 45 °F is 7.2 °C; 135 °F is 57.2 °C and 140 °F is 60 °C.
USUAL_LIMITS: Final = Limits()
STATE_LIMITS: Final[Mapping[str, Limits]] = {
    "MN": Limits(
        "MN",
        cold_c=Decimal("7.2"),
        hot_c=Decimal("60.0"),
        citation="Minn. Rules 4626.0615 (text of 2014)",
        note="45 °F for 30 minutes, 140 °F for 120 minutes.",
    ),
    "NY": Limits(
        "NY",
        cold_c=Decimal("7.2"),
        hot_c=Decimal("60.0"),
        hot_minutes=30,
        citation="10 NYCRR 14-5.40",
        note="45 and 140 °F, 30 minutes to recover; food between them for 2 hours in all.",
    ),
}


def limits_of(state: str) -> Limits:
    """The limits of a state (two letters), otherwise those of the Food Code."""
    return STATE_LIMITS.get(state.upper(), USUAL_LIMITS)


@dataclass(frozen=True, slots=True)
class Reading:
    """The air in the warmest part of a cold cabinet, or the coolest of a hot one."""

    key: str
    at: datetime
    temperature_c: Decimal

    def __post_init__(self) -> None:
        _require_aware(f"readings.{self.key}.at", self.at)
        if not self.temperature_c.is_finite() or not -60 <= self.temperature_c <= 150:
            raise BadReading(
                f"readings.{self.key}.temperature_c",
                f"{self.temperature_c} °C; give a temperature from -60 to 150 °C",
            )


@dataclass(frozen=True, slots=True)
class Service:
    """The machine was filled or serviced: the air may be beyond its limit for a while from here.

    A lock is lifted only by one that is `serviced` and `restocked`: mended, and with safe food.
    """

    key: str
    at: datetime
    serviced: bool = False
    restocked: bool = False

    def __post_init__(self) -> None:
        _require_aware(f"services.{self.key}.at", self.at)


@dataclass(frozen=True, slots=True)
class Failure:
    """The power or the mechanism failed: no reading is needed to stop selling."""

    key: str
    at: datetime
    what: str = "power failure"

    def __post_init__(self) -> None:
        _require_aware(f"failures.{self.key}.at", self.at)


Event: TypeAlias = Reading | Service | Failure


class State(StrEnum):
    """Whether a machine may sell food that is kept cold or hot."""

    UNKNOWN = "unknown"
    SAFE = "safe"
    RECOVERING = "recovering"
    LOCKED = "locked"


@dataclass(frozen=True, slots=True)
class Move:
    """One change of state, by the event with this key."""

    at: datetime
    state: State
    key: str
    why: str


@dataclass(frozen=True, slots=True)
class Standing:
    """How a machine stands. `because` is the key of the event that brought it there.

    `read_by` is when a reading is due: while it recovers, the end of the time allowed.
    """

    state: State
    since: datetime | None
    because: str
    why: str
    read_by: datetime | None
    overdue: bool
    moves: tuple[Move, ...]

    @property
    def may_sell(self) -> bool:
        return self.state is not State.LOCKED


def standing(
    events: Sequence[Event], *, hold: Hold, now: datetime, limits: Limits = USUAL_LIMITS
) -> Standing:
    """How a machine stands at `now`, by all that was read and done until then.

    The order in which events are given changes nothing; those after `now` are left out. At one
    moment a service comes before a reading, and a failure last. Raises BadReading.
    """
    _require_aware("now", now)
    taken = sorted((one for one in events if one.at <= now), key=_in_order)
    state, since, because = State.UNKNOWN, None, ""
    why = "no reading yet"
    served_at: datetime | None = None
    moves: list[Move] = []
    for one in taken:
        after, said = _after(one, state, served_at, hold, limits)
        if isinstance(one, Service) and (state is not State.LOCKED or after is not State.LOCKED):
            served_at = one.at
        if after is not state:
            moves.append(Move(one.at, after, one.key, said))
            state, since, because, why = after, one.at, one.key, said
        elif after is not State.LOCKED and said:
            why = said
    read_by = None
    if state is State.RECOVERING and served_at is not None:
        read_by = served_at + limits.allowed(hold)
    overdue = read_by is not None and now > read_by
    if overdue:
        why = f"{why}; the time allowed has passed without a reading, take one now"
    return Standing(state, since, because, why, read_by, overdue, tuple(moves))


def _after(
    one: Event, state: State, served_at: datetime | None, hold: Hold, limits: Limits
) -> tuple[State, str]:
    """The state after one event, and why; what keeps a lock says nothing."""
    if isinstance(one, Service):
        if state is State.LOCKED and not (one.serviced and one.restocked):
            return state, ""
        done = "serviced and restocked" if one.serviced and one.restocked else "filled or serviced"
        minutes = int(limits.allowed(hold).total_seconds() // 60)
        return State.RECOVERING, f"{done}; up to {minutes} minutes to come back to temperature"
    if state is State.LOCKED:
        return state, ""
    if isinstance(one, Failure):
        return State.LOCKED, f"{one.what}: not to sell until serviced and restocked with safe food"
    if not limits.beyond(hold, one.temperature_c):
        return State.SAFE, f"{degrees(one.temperature_c)}, within the limit"
    limit = limits.cold_c if hold is Hold.COLD else limits.hot_c
    word = "above" if hold is Hold.COLD else "below"
    beyond = f"{degrees(one.temperature_c)} is {word} {degrees(limit)}"
    if served_at is not None and one.at - served_at <= limits.allowed(hold):
        minutes = int((one.at - served_at).total_seconds() // 60)
        return State.RECOVERING, f"{beyond}, {minutes} minutes after it was filled or serviced"
    when = "with no filling or service before" if served_at is None else "past the time allowed"
    return (
        State.LOCKED,
        f"{beyond} {when}: not to sell until serviced and restocked with safe food",
    )


def _in_order(one: Event) -> tuple[datetime, int, str]:
    rank = {Service: 0, Reading: 1, Failure: 2}[type(one)]
    return one.at, rank, one.key


def _require_aware(field: str, at: datetime) -> None:
    if at.tzinfo is None:
        raise BadReading(field, "has no time zone; give the moment with its offset")
