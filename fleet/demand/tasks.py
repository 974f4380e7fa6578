"""What Celery does for demand: the clock and the hands. What is due stands in the database."""

from celery import shared_task
from django.utils import timezone

from .actions import runs
from .actions.refit import fit_chunk


@shared_task
def keep_fitting() -> int:
    """Begin the night's fit when it is due, and hand out every part that is free; how many."""
    now = timezone.now()
    if runs.night_is_due(now):
        runs.start(actor=None, now=now, nightly=True)
    runs.give_up(now=now)
    free = runs.due(now=now)
    for chunk in free:
        fit_part.delay(chunk)
    return len(free)


@shared_task
def fit_part(chunk_id: int) -> bool:
    """Fit one part, unless another is at it or it is done."""
    return fit_chunk(chunk_id=chunk_id, clock=timezone.now)
