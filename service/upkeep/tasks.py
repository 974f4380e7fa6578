"""What Celery does for upkeep."""

from dataclasses import asdict

from celery import shared_task
from django.utils import timezone

from .actions import due, reminders


@shared_task
def work_out_what_is_due() -> dict[str, int]:
    """Work out every machine's turns, as of now."""
    return asdict(due.work_out(now=timezone.now()))


@shared_task
def remind() -> int:
    """Tell people of turns that come due or are late; how many turns were told of."""
    return reminders.remind(now=timezone.now())
