"""What Celery does for compliance."""

from dataclasses import asdict

from celery import shared_task
from django.utils import timezone

from .actions import duty_rules, duty_turns, reminders, temperatures


@shared_task
def work_out_duties() -> dict[str, int]:
    """Take in what the packs have new, and work out which duties are owed, as of now."""
    now = timezone.now()
    duty_rules.load_packs(actor=None, now=now)
    return asdict(duty_turns.work_out(now=now))


@shared_task
def remind_of_duties() -> int:
    """Tell people of duties that come due or are late; how many were told of."""
    return reminders.remind(now=timezone.now())


@shared_task
def judge_food() -> int:
    """Lock machines whose food is out of its limits; how many.

    A reading that came with maintenance, or an event that a read told of, is judged here.
    """
    return len(temperatures.judge(now=timezone.now()))
