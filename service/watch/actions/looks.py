"""A look: begun, its parts taken by workers, ended.

The rows say what is due and who is at it; workers and clocks come and go. A part is taken by
compare-and-set on its attempt.
"""

from collections.abc import Sequence
from datetime import datetime, time, timedelta
from typing import Final

from celery import current_app
from django.db import IntegrityError, transaction
from django.db.models import F, Max, Q, QuerySet

from fleet.demand.models import FitRun
from fleet.inventory.models import StockCount
from fleet.machines.models import Machine, SetUp
from fleet.sales.models import AuditRead, BagCount
from people import audit
from people.models import Business, Person

from ..models import Look, LookPart, WatchLimits
from .errors import PartLost, UnableToLook

#: A part takes seconds; a worker that has not ended it by then is taken for dead.
SILENT_FOR: Final = timedelta(minutes=10)
MOST_ATTEMPTS: Final = 3
#: Machines of one part: few enough that its arrays stay in some ten megabytes.
MACHINES: Final = 500
#: How long a read lies in the tray at the most before its acceptance is no news any more.
TRAY: Final = timedelta(days=30)
#: The night's look waits for the night's fit, and for counts to be settled.
NIGHT_FROM: Final = time(3)
NIGHT_UNTIL: Final = time(9)


def start(*, over: str, actor: Person | None, now: datetime) -> Look:
    """Begin a look, dealt out in parts. Without machines to look at it is done at once.

    A night that is begun twice is one look. Raises UnableToLook beside one that is running.
    """
    machines = with_news() if over == Look.Over.NEWS else in_service()
    day = now.astimezone(Business.the().time_zone).date()
    limits = WatchLimits.the()
    try:
        with transaction.atomic():
            look = Look.objects.create(
                over=over,
                day=day,
                asked_by=actor,
                started_at=now,
                machines=len(machines),
                told=audit.values(limits),
                **_latest(),
            )
            LookPart.objects.bulk_create(
                LookPart(look=look, number=number, machines=list(some))
                for number, some in enumerate(_dealt(machines), start=1)
            )
            transaction.on_commit(lambda: _hand_out(look), robust=True)
            if over != Look.Over.NEWS:
                # Every few minutes somewhere a machine has news; that is not worth the trail.
                audit.record(
                    actor=actor,
                    verb="start look",
                    row=look,
                    now=now,
                    after={"day": day.isoformat(), "machines": look.machines},
                )
    except IntegrityError:
        # Another began at the same moment; the constraints let one of the two through.
        if over == Look.Over.NIGHT and (found := Look.objects.filter(day=day, over=over).first()):
            return found
        raise UnableToLook(
            "the numbers are being gone through already; look again in a moment",
            code="look_running",
        ) from None
    return look


def _hand_out(look: Look) -> None:
    """Tell the workers at once; a message that is lost is made up for by the clock's next turn."""
    for part in look.parts.order_by("number").values_list("pk", flat=True):
        current_app.send_task("service.watch.tasks.look_at_part", args=[part])


def in_service() -> list[int]:
    """Keys of the machines that are not retired and have a column set up."""
    rows = SetUp.objects.filter(ends_at__isnull=True).exclude(
        column__machine__status=Machine.Status.RETIRED
    )
    keys = rows.order_by().values_list("column__machine", flat=True).distinct()
    return sorted(keys)


def with_news() -> list[int]:
    """Keys of the machines of which a read, a count or a bag came in since the last look."""
    last = Look.objects.exclude(state=Look.State.FAILED).order_by("-pk").first()
    if last is None:
        return []
    reads = AuditRead.objects.filter(state=AuditRead.State.ACCEPTED).filter(
        Q(pk__gt=last.last_read)
        # One that waited in the tray is older than its acceptance; older ones wait for the night.
        | Q(settled_at__gte=last.started_at, received_at__gte=last.started_at - TRAY)
    )
    counts = StockCount.objects.filter(pk__gt=last.last_count, place__column__isnull=False)
    bags = BagCount.objects.filter(pk__gt=last.last_bag_count)
    keys = {
        *reads.order_by().values_list("machine", flat=True).distinct(),
        *counts.order_by().values_list("place__column__machine", flat=True).distinct(),
        *bags.order_by().values_list("bag__machine", flat=True).distinct(),
    }
    return sorted(set(in_service()) & {key for key in keys if key is not None})


def night_is_due(now: datetime) -> bool:
    """Whether the night's look is to begin: it is night at the business and demand is fitted."""
    local = now.astimezone(Business.the().time_zone)
    if not NIGHT_FROM <= local.time() < NIGHT_UNTIL:
        return False
    if FitRun.objects.filter(state=FitRun.State.RUNNING).exists():
        return False
    return not Look.objects.filter(day=local.date(), over=Look.Over.NIGHT).exists()


def is_running() -> bool:
    return Look.objects.filter(state=Look.State.RUNNING).exists()


def due(*, now: datetime) -> list[int]:
    """The parts that wait for a worker, or whose worker has been at it for too long."""
    return list(
        _free(now)
        .filter(attempt__lt=MOST_ATTEMPTS)
        .order_by("look", "number")
        .values_list("pk", flat=True)
    )


def given_up(*, now: datetime) -> list[Look]:
    """End the parts whose workers died so often that another would die of them too."""
    looks = []
    for part in _free(now).filter(attempt__gte=MOST_ATTEMPTS).select_related("look"):
        ended = (
            _free(now)
            .filter(pk=part.pk, attempt=part.attempt)
            .update(
                state=LookPart.State.FAILED,
                error=part.error or f"{part.attempt} workers fell silent over it",
                finished_at=now,
            )
        )
        if ended:
            looks.append(part.look)
    return looks


def take(*, part_id: int, now: datetime) -> LookPart | None:
    """Take a part, if it is free; None if another holds it, or it is done."""
    taken = (
        _free(now)
        .filter(pk=part_id, attempt__lt=MOST_ATTEMPTS)
        .update(state=LookPart.State.TAKEN, attempt=F("attempt") + 1, taken_at=now)
    )
    return LookPart.objects.select_related("look").get(pk=part_id) if taken else None


def done(*, part: LookPart, judged: int, seen: Sequence[object], now: datetime) -> None:
    """Keep what a part saw. Raises PartLost when it is no longer this worker's."""
    kept = LookPart.objects.filter(
        pk=part.pk, state=LookPart.State.TAKEN, attempt=part.attempt
    ).update(state=LookPart.State.DONE, judged=judged, seen=list(seen), finished_at=now, error="")
    if not kept:
        raise PartLost(f"{part} was taken again: its worker was silent for too long")


def give_back(*, part: LookPart, why: str, now: datetime) -> bool:
    """The part could not be looked at: it is tried again, and given up after MOST_ATTEMPTS.

    Whether it was given up.
    """
    again = part.attempt < MOST_ATTEMPTS
    LookPart.objects.filter(pk=part.pk, state=LookPart.State.TAKEN, attempt=part.attempt).update(
        state=LookPart.State.WAITING if again else LookPart.State.FAILED,
        error=why[:300] or "it failed without a word",
        finished_at=None if again else now,
    )
    return not again


def _free(now: datetime) -> "QuerySet[LookPart]":
    silent = Q(state=LookPart.State.TAKEN, taken_at__lt=now - SILENT_FOR)
    # Without a join, so that the database asks again after waiting for another worker.
    running = Look.objects.filter(state=Look.State.RUNNING)
    return LookPart.objects.filter(Q(state=LookPart.State.WAITING) | silent, look__in=running)


def _latest() -> dict[str, int]:
    """Keys of the latest read, count and bag count: what comes after them is news."""
    return {
        "last_read": AuditRead.objects.aggregate(last=Max("pk"))["last"] or 0,
        "last_count": StockCount.objects.aggregate(last=Max("pk"))["last"] or 0,
        "last_bag_count": BagCount.objects.aggregate(last=Max("pk"))["last"] or 0,
    }


def _dealt(machines: Sequence[int]) -> list[Sequence[int]]:
    return [machines[at : at + MACHINES] for at in range(0, len(machines), MACHINES)]
