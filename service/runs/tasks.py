"""What Celery does for runs."""

from celery import shared_task
from django.utils import timezone

from .actions import dispatch
from .actions.night import plan_night


@shared_task
def plan_the_day() -> int | None:
    """Plan the day that is about to begin, if that is due; the plan's key."""
    plan = plan_night(now=timezone.now())
    return None if plan is None else plan.pk


@shared_task
def let_tickets_go() -> int:
    """Take tickets that have ended off their runs; how many there were."""
    return dispatch.tidy(now=timezone.now())
