"""How an act from the road is taken: once for its key, by the driver's clock, whole or not at all.

An act may come late, and after acts that happened later. What it says counts from the moment it
happened by the sender's clock (one still to come counts from now); when it reached us is kept
beside it, and a clock that is far off is told, not set right. The same key again is answered alike
and has no second effect, for ever.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Model

from fleet.inventory.models import Movement, StockCount
from people import told
from people.models import Person
from people.told import KeyReused, Sent

from ...models import RoadAct, Run, RunAssumptions, Stop, Visit
from .answers import about
from .errors import RunEnded, RunNotAgreed, RunNotStarted

NEVER_OFF = timedelta(minutes=1)
"""What no setting calls a clock that is off."""
AT_ONE_MOMENT = ("pick", "start", "arrive", "read", "count", "remove", "change_over", "fill")
"""In what order the stock moves of acts that a device gives one and the same moment."""


@dataclass(frozen=True)
class Answer:
    """What an act did; `replayed` when it had been done before."""

    act: RoadAct
    result: Mapping[str, Any]
    replayed: bool = False


@dataclass
class Doing:
    """An act at work: its locked run and stop, and what it leaves."""

    act: RoadAct
    run: Run
    stop: Stop | None
    actor: Person
    at: datetime
    """When it happened: what the sender says, unless that is still to come."""
    now: datetime
    visit: Visit | None = None
    columns: set[int] = field(default_factory=set)
    """Keys of the columns that the answer tells of."""
    movements: list[Movement] = field(default_factory=list)
    counts: list[StockCount] = field(default_factory=list)
    more: dict[str, Any] = field(default_factory=dict)

    @property
    def booked_at(self) -> datetime:
        """The moment for the stock: after what comes before it at one and the same moment."""
        verb = str(self.act.verb)
        late = AT_ONE_MOMENT.index(verb) if verb in AT_ONE_MOMENT else len(AT_ONE_MOMENT)
        return self.at + timedelta(microseconds=late)

    def flag(self, code: str, words: str) -> None:
        self.act.flags.append({"code": code, "said": words})


@transaction.atomic
def once(
    *,
    verb: str,
    run: Run,
    stop: Stop | None,
    sent: Sent,
    said: Mapping[str, Any],
    actor: Person,
    now: datetime,
    do: Callable[[Doing], None],
) -> Answer:
    """Do an act unless its key was done already; then give its answer again.

    Raises KeyReused for another act under the same key, and whatever `do` refuses.
    """
    told.require_key(sent.key)
    payload = told.plain(said)
    # When it was sent is left out: a device that tries again says another time.
    whose = (run.pk, None if stop is None else stop.pk)
    digest = told.digest(verb, *whose, sent.at.timestamp(), payload)
    told.alone(actor, sent, what="road")
    earlier = RoadAct.objects.order_by().filter(actor=actor, key=sent.key).first()
    if earlier is not None:
        if earlier.digest != digest:
            raise KeyReused(sent.key)
        return Answer(earlier, earlier.result, replayed=True)
    held, stop = _held(run, stop)
    if not held.agreed:
        raise RunNotAgreed(held)
    act = RoadAct(
        run=held,
        stop=stop,
        verb=verb,
        actor=actor,
        key=sent.key,
        digest=digest,
        client_at=sent.at,
        server_at=now,
        sent_at=sent.sent_at,
        flags=[],
        payload=payload,
    )
    doing = Doing(act, held, stop, actor, min(sent.at, now), now)
    _judge_clock(doing)
    do(doing)
    act.visit = doing.visit
    act.result = about(doing)
    act.save(force_insert=True)
    _link(act, doing)
    return Answer(act, act.result)


def require_out(doing: Doing) -> None:
    """The run has started, and had not ended when this happened. Raises RunNotStarted, RunEnded."""
    run = doing.run
    if run.started_at is None:
        raise RunNotStarted(run)
    if doing.at < run.started_at:
        doing.flag("before_start", "happened before the run was started, by the sender's clock")
    if run.ended_at is not None:
        if doing.at > run.ended_at:
            raise RunEnded(run)
        doing.flag("came_after_end", "came in after the run had ended")


def _held(run: Run, stop: Stop | None) -> tuple[Run, Stop | None]:
    """The run and stop as they stand, locked: everything of a run follows on its row, a plan
    changed at the desk included."""
    if stop is None:
        held = Run.objects.select_for_update(no_key=True, of=("self",)).get(pk=run.pk)
    else:
        fresh = (
            Stop.objects.select_for_update(no_key=True, of=("self", "run"))
            .select_related("run")
            .get(pk=stop.pk)
        )
        held = fresh.run
        _take_along(stop, fresh, ("machine", "site"))
        stop = fresh
    _take_along(run, held, ("driver", "vehicle", "depot"))
    return held, stop


def _take_along(read: Model, fresh: Model, names: Sequence[str]) -> None:
    """What hangs on a row and was fetched with it before; the rest comes when it is asked for."""
    for name in names:
        if name in read._state.fields_cache:
            setattr(fresh, name, getattr(read, name))


def _judge_clock(doing: Doing) -> None:
    act = doing.act
    if act.sent_at is not None:
        off = act.sent_at - doing.now
    else:
        # Without it only a moment still to come betrays the clock.
        off = max(doing.at - doing.now, timedelta(0))
    known = act.sent_at is not None or off > timedelta(0)
    act.clock_off_s = _bounded(off) if known else None
    if abs(off) > NEVER_OFF and abs(off) > _limit():
        ahead = "ahead of" if off > timedelta(0) else "behind"
        minutes = abs(off) // timedelta(minutes=1)
        doing.flag("clock_off", f"the sender's clock is {minutes} minutes {ahead} ours")
    zone = doing.run.depot.site.time_zone
    day = doing.at.astimezone(zone).date()
    if day != doing.run.date:
        doing.flag("other_day", f"happened on {day}; the run is of {doing.run.date}")


def _limit() -> timedelta:
    return timedelta(minutes=RunAssumptions.the().clock_off_minutes)


def _bounded(off: timedelta) -> int:
    return max(-2_000_000_000, min(2_000_000_000, round(off.total_seconds())))


def _link(act: RoadAct, doing: Doing) -> None:
    rows: Sequence[tuple[Any, str, Sequence[Any]]] = (
        (RoadAct.movements.through, "movement_id", doing.movements),
        (RoadAct.counts.through, "stockcount_id", doing.counts),
    )
    for through, name, linked in rows:
        if linked:
            through.objects.bulk_create(
                through(roadact_id=act.pk, **{name: one.pk}) for one in linked
            )
