"""A run of the refit: begun, its parts taken and reported on, ended.

The rows say what is due and who is at it; workers and clocks come and go. A part is taken by
compare-and-set, and whoever takes it holds it as long as it is heard of.
"""

from datetime import datetime, time, timedelta
from typing import Any, Final

from celery import current_app
from django.db import IntegrityError, transaction
from django.db.models import F, Q, QuerySet, Sum

from people import audit
from people.models import Business, Person

from ..models import DemandRules, FitChunk, FitRun
from ..regions import parts
from .errors import ChunkLost, UnableToRefit

#: A worker that has said nothing for so long is taken for dead. Fitting says something at least
#: at every step of a part, which are seconds.
SILENT_FOR: Final = timedelta(minutes=5)
MOST_ATTEMPTS: Final = 3
#: The night's fit waits for the reads that machines send after midnight.
NIGHT_FROM: Final = time(2)
NIGHT_UNTIL: Final = time(7)


def start(*, actor: Person | None, now: datetime, nightly: bool = False) -> FitRun:
    """Begin to fit every column anew, dealt out in parts. Without columns it is done at once.

    A night that is begun twice is one run, and so is a night that finds a run under way. Raises
    UnableToRefit to a person who asks for a second beside one that is running.
    """
    business, rules = Business.the(), DemandRules.the()
    day = now.astimezone(business.time_zone).date()
    if nightly and (found := _of_the_night(day)) is not None:
        return found
    dealt = parts()
    try:
        with transaction.atomic():
            run = FitRun.objects.create(
                day=day,
                is_nightly=nightly,
                asked_by=actor,
                started_at=now,
                machines=sum(len(part.machines) for part in dealt),
                columns=sum(part.columns for part in dealt),
                fitted_with={"history_days": rules.history_days, "parts": len(dealt)},
            )
            FitChunk.objects.bulk_create(
                FitChunk(
                    run=run,
                    number=number,
                    warehouse=part.warehouse,
                    machines=list(part.machines),
                    columns=part.columns,
                )
                for number, part in enumerate(dealt, start=1)
            )
            transaction.on_commit(lambda: _hand_out(run), robust=True)
            audit.record(
                actor=actor,
                verb="start refit",
                row=run,
                now=now,
                before=None,
                after={"day": day.isoformat(), "columns": run.columns, "parts": len(dealt)},
            )
    except IntegrityError:
        # Another began at the same moment; the constraints let one of the two through.
        running = _of_the_night(day) if nightly else None
        if running is not None:
            return running
        raise UnableToRefit(
            "demand is being fitted already; look on", code="refit_running"
        ) from None
    if not dealt:
        finish(run=run, now=now)
        run.refresh_from_db()
    return run


def _hand_out(run: FitRun) -> None:
    """Tell the workers at once; a message that is lost is made up for by the clock's next look."""
    for chunk in run.chunks.order_by("number").values_list("pk", flat=True):
        current_app.send_task("fleet.demand.tasks.fit_part", args=[chunk])


def night_is_due(now: datetime) -> bool:
    """Whether the night's fit is to begin: it is night at the business, and it has not begun."""
    local = now.astimezone(Business.the().time_zone)
    if not NIGHT_FROM <= local.time() < NIGHT_UNTIL:
        return False
    return not FitRun.objects.filter(day=local.date(), is_nightly=True).exists()


def due(*, now: datetime) -> list[int]:
    """The parts that wait for a worker, or whose worker has not been heard of for too long."""
    return list(_free(now).order_by("run", "number").values_list("pk", flat=True))


def give_up(*, now: datetime) -> None:
    """End the parts whose workers died so often that another would die of them too."""
    for chunk in _free(now).filter(attempt__gte=MOST_ATTEMPTS).select_related("run"):
        ended = (
            _free(now)
            .filter(pk=chunk.pk, attempt=chunk.attempt)
            .update(
                state=FitChunk.State.FAILED,
                error=chunk.error or f"{chunk.attempt} workers fell silent over it",
                finished_at=now,
            )
        )
        if ended:
            finish(run=chunk.run, now=now)


def take(*, chunk_id: int, now: datetime) -> FitChunk | None:
    """Take a part, if it is free; None if another holds it, or it is done.

    The database decides in one statement, so that of two workers one gets it.
    """
    taken = (
        _free(now)
        .filter(pk=chunk_id, attempt__lt=MOST_ATTEMPTS)
        .update(
            state=FitChunk.State.TAKEN,
            attempt=F("attempt") + 1,
            taken_at=now,
            heard_at=now,
            doing="reading sales",
        )
    )
    return FitChunk.objects.select_related("run").get(pk=chunk_id) if taken else None


def report(*, chunk: FitChunk, doing: str, now: datetime, **more: Any) -> None:
    """Say what the worker is at. Raises ChunkLost when the part is no longer its own."""
    if not _own(chunk).update(doing=doing, heard_at=now, **more):
        raise ChunkLost(f"{chunk} was taken again: its worker was silent for too long")


def hold(chunk: FitChunk) -> None:
    """Lock the part for the rest of the transaction that writes what was fitted.

    Raises ChunkLost when it is no longer this worker's, so that nothing of it is kept.
    """
    if not _own(chunk).select_for_update().exists():
        raise ChunkLost(f"{chunk} was taken again: its worker was silent for too long")


def give_back(*, chunk: FitChunk, why: str, now: datetime) -> None:
    """The part could not be fitted: it is tried again, and given up after MOST_ATTEMPTS."""
    again = chunk.attempt < MOST_ATTEMPTS
    _own(chunk).update(
        state=FitChunk.State.WAITING if again else FitChunk.State.FAILED,
        error=why[:300] or "it failed without a word",
        doing="",
        finished_at=None if again else now,
        heard_at=now,
    )
    if not again:
        finish(run=chunk.run, now=now)


def finish(*, run: FitRun, now: datetime) -> bool:
    """End the run once no part of it is left to do; whether this call ended it."""
    with transaction.atomic():
        # Whoever ends the last part sees all others ended: they queue here.
        row = FitRun.objects.select_for_update().get(pk=run.pk)
        chunks = FitChunk.objects.filter(run=row)
        left = chunks.exclude(state__in=[FitChunk.State.DONE, FitChunk.State.FAILED])
        if row.state != FitRun.State.RUNNING or left.exists():
            return False
        failed = chunks.filter(state=FitChunk.State.FAILED)
        sums = chunks.aggregate(intervals=Sum("intervals"))
        row.state = FitRun.State.FAILED if failed.exists() else FitRun.State.DONE
        row.intervals = sums["intervals"] or 0
        row.finished_at = now
        row.outcome = _said(row, list(failed.values_list("number", "error")))
        row.save(update_fields=["state", "intervals", "finished_at", "outcome"])
        audit.record(
            actor=None,
            verb="finish refit",
            row=row,
            now=now,
            before=None,
            after={"state": row.state, "outcome": row.outcome},
        )
    return True


def _said(run: FitRun, failed: list[tuple[int, str]]) -> str:
    if failed:
        said = "; ".join(f"part {number}: {why}" for number, why in failed)
        return f"{said}. Its columns keep what was fitted before."[:300]
    if not run.columns:
        return "No column is set up yet."
    return f"{run.columns} columns of {run.machines} machines on {run.intervals} intervals of sale."


def _of_the_night(day: Any) -> FitRun | None:
    rows = FitRun.objects.filter(Q(day=day, is_nightly=True) | Q(state=FitRun.State.RUNNING))
    return rows.order_by("-is_nightly", "-pk").first()


def _free(now: datetime) -> "QuerySet[FitChunk]":
    silent = Q(state=FitChunk.State.TAKEN, heard_at__lt=now - SILENT_FOR)
    # Without a join: an update would then look for its rows in a subquery, which a second worker
    # that waited for the first does not ask again, so that both would take the part.
    running = FitRun.objects.filter(state=FitRun.State.RUNNING)
    return FitChunk.objects.filter(Q(state=FitChunk.State.WAITING) | silent, run__in=running)


def _own(chunk: FitChunk) -> "QuerySet[FitChunk]":
    return FitChunk.objects.filter(pk=chunk.pk, state=FitChunk.State.TAKEN, attempt=chunk.attempt)
