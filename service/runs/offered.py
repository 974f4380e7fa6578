"""What giving a ticket to a driver would mean, as data and in words."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from people.models import Person
from service.tickets.models import Ticket

from .models import Run, Vehicle
from .parts import Aboard, Likely
from .ticketed import span_said

WITHOUT_PART_MINUTES = 20
"""What a truck without any of the likely parts counts for in the suggestion: fetching one, or
coming again. Assumed."""
WAITING_SHARE = 6
"""So many minutes after a promise weigh as much as one of a driver's. Assumed."""


@dataclass(frozen=True)
class WouldBeLate:
    """A promise or hours that would be missed on the same run; minutes beyond them."""

    what: str
    minutes: int


@dataclass(frozen=True)
class Offer:
    """One driver's way to see to a ticket. `seen` says how the run stood.

    `how`: "there" the run stops there anyway, "between" a stop more, "takes_over" the stop comes
    over from another run, "own_run" a driver who has no run yet gets one.
    """

    driver: Person
    vehicle: Vehicle
    run: Run | None
    how: str
    position: int
    minutes: int
    metres: int
    minor: int
    begins_at: datetime
    leaves_at: datetime
    run_ends_at: datetime
    late: tuple[WouldBeLate, ...]
    faults: tuple[str, ...]
    lacks: tuple[str, ...]
    parts: tuple[Aboard, ...]
    late_by_minutes: int | None
    seen: str
    said: str = ""

    @property
    def keeps_promise(self) -> bool | None:
        """Whether the visit ends by what was promised; None when nothing was."""
        return None if self.late_by_minutes is None else self.late_by_minutes == 0

    @property
    def is_clean(self) -> bool:
        """Whether nothing speaks against it."""
        return not (self.late or self.faults or self.lacks) and self.keeps_promise is not False

    @property
    def lacks_parts(self) -> bool:
        """Parts are likely to be wanted, and not one of them is on the truck."""
        wanted = [one for one in self.parts if one.likely.used_in is not None]
        return bool(wanted) and not any(one.units for one in wanted)

    @property
    def rank(self) -> tuple[int, int, bool, float, str]:
        """Better is less: skills, what is broken or late, the promise, minutes, name."""
        late = (self.late_by_minutes or 0) / WAITING_SHARE
        return (
            len(self.lacks),
            len(self.faults) + len(self.late),
            self.keeps_promise is False,
            self.minutes + late + WITHOUT_PART_MINUTES * self.lacks_parts,
            str(self.driver),
        )

    @property
    def late_said(self) -> str:
        """How long after the promise the visit would end; empty when it is kept."""
        return (
            f"{span_said(self.late_by_minutes)} after the promise" if self.late_by_minutes else ""
        )


@dataclass(frozen=True)
class Offers:
    """All drivers of a day for one ticket, the best first. Where there is none, `refused` says
    why."""

    ticket: Ticket
    day: date
    offers: tuple[Offer, ...] = ()
    likely: tuple[Likely, ...] = ()
    because: str = ""
    refused: str = ""
    of_driver: dict[int, Offer] = field(default_factory=dict)

    @property
    def suggested(self) -> Offer | None:
        return self.offers[0] if self.offers else None


def words_of(one: Offer) -> str:
    """An offer in one sentence, what matters first."""
    how = {
        "there": "stops there anyway",
        "between": "a stop more",
        "takes_over": "takes the whole stop over",
        "own_run": "a run of its own from the depot",
    }[one.how]
    found = [f"{one.minutes} min more, {how}"]
    if one.lacks:
        found.append(f"lacks {', '.join(one.lacks)}")
    if one.late_by_minutes:
        found.append(one.late_said)
    found += [f"{late.what} by {span_said(late.minutes)}" for late in one.late]
    found += list(one.faults)
    found += [part.said for part in one.parts if part.likely.used_in is not None]
    return "; ".join(part.rstrip(".") for part in found)


def because_of(offers: Sequence[Offer]) -> str:
    """Why the first is suggested, beside those who would lose less."""
    if not offers:
        return ""
    best = offers[0]
    said = [f"{best.driver}: {best.said}"]
    if best.keeps_promise:
        said.append("the promise is kept")
    if not best.late and not best.faults:
        said.append("nothing else becomes late")
    quicker = min(offers, key=lambda one: (one.minutes, one.rank))
    if quicker is not best and quicker.minutes < best.minutes:
        why = _against(quicker, best)
        said.append(f"{quicker.driver} would lose only {quicker.minutes} min, but {why}")
    elif len(offers) > 1:
        said.append(f"no other of {len(offers)} drivers loses less")
    return "; ".join(said) + "."


def _against(one: Offer, best: Offer) -> str:
    if one.lacks:
        return f"lacks {', '.join(one.lacks)}"
    if one.faults:
        return one.faults[0].rstrip(".")
    if one.late:
        return one.late[0].what
    if (one.late_by_minutes or 0) > (best.late_by_minutes or 0):
        later = (one.late_by_minutes or 0) - (best.late_by_minutes or 0)
        return f"would come {span_said(later)} later"
    return "has none of the likely parts aboard"
