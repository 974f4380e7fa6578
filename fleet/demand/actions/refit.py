"""Fitting one part of a run: read, score, fit, write, work out the needs."""

from collections.abc import Callable
from datetime import datetime

from django.db import transaction

from people.bulk import copy_values
from people.models import Business

from .. import fitting, scoring
from ..models import ColumnDemand, DemandRules, FitChunk
from . import runs
from .errors import ChunkLost
from .needs import work_out_needs

Clock = Callable[[], datetime]


def fit_chunk(*, chunk_id: int, clock: Clock) -> bool:
    """Fit one part, if it is free; whether this call did it.

    Safe to call twice, and while another is at it: the part is taken by compare-and-set, and what
    was fitted is written only by whoever still holds it. What goes wrong gives the part back, to
    be tried again or given up, and is raised on.
    """
    chunk = runs.take(chunk_id=chunk_id, now=clock())
    if chunk is None:
        return False
    try:
        _fit(chunk, clock)
    except ChunkLost:
        return False  # whoever has it now does it
    except Exception as error:
        runs.give_back(chunk=chunk, why=f"{type(error).__name__}: {error}", now=clock())
        raise
    runs.finish(run=chunk.run, now=clock())
    return True


def _fit(chunk: FitChunk, clock: Clock) -> None:
    run = chunk.run
    zone, rules = Business.the().time_zone, DemandRules.the()
    # All that was known when the run began, so that a part fitted again gives the same.
    known = fitting.known(
        chunk.machines, now=run.started_at, history_days=rules.history_days, zone=zone
    )
    if known is None:
        _done(chunk, columns=0, intervals=0, clock=clock)
        return
    scores = chunk.scores
    if not scores:
        runs.report(chunk=chunk, doing="holding the last fit against what sold", now=clock())
        scores = scoring.scores(known, run_id=run.pk, history_days=rules.history_days)
    count = len(known.held.columns)
    runs.report(chunk=chunk, doing=f"fitting {count} columns", now=clock())
    found = fitting.fitted(known, history_days=rules.history_days)
    rows = fitting.rows_of(known, found, run_id=run.pk, day=run.day, now=run.started_at)
    with transaction.atomic():
        runs.hold(chunk)
        ColumnDemand.objects.filter(column__machine__in=chunk.machines).delete()
        copy_values(ColumnDemand, fitting.NAMES, rows)
        runs.report(
            chunk=chunk,
            doing="working out what the columns need",
            now=clock(),
            scores=scores,
            pools=found.pool.as_json(),
        )
    with transaction.atomic():
        runs.hold(chunk)
        work_out_needs(machines=chunk.machines, run=run, now=clock())
        _done(chunk, columns=count, intervals=len(known.sales), clock=clock)


def _done(chunk: FitChunk, *, columns: int, intervals: int, clock: Clock) -> None:
    now = clock()
    runs.report(
        chunk=chunk,
        doing="",
        now=now,
        state=FitChunk.State.DONE,
        columns=columns,
        intervals=intervals,
        finished_at=now,
    )
