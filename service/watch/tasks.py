"""What Celery does for the watch: the clock and the hands. What is due stands in the database."""

from celery import shared_task
from django.utils import timezone

from .actions import looking, looks, verdicts
from .models import Look


@shared_task
def keep_watch() -> int:
    """Begin the night's look when it is due, else one at machines with news; hand out what is
    free. How many parts were handed out."""
    now = timezone.now()
    verdicts.take_verdicts(now=now)
    for look in looks.given_up(now=now):
        looking.finish(look=look, now=now)
    if not looks.is_running():
        if looks.night_is_due(now):
            looks.start(over=Look.Over.NIGHT, actor=None, now=now)
        elif looks.with_news():
            looks.start(over=Look.Over.NEWS, actor=None, now=now)
        return 0  # handed out as it began
    free = looks.due(now=now)
    for part in free:
        look_at_part.delay(part)
    return len(free)


@shared_task
def look_at_part(part_id: int) -> bool:
    """Look at one part, unless another is at it or it is done."""
    return looking.look_part(part_id=part_id, clock=timezone.now)
