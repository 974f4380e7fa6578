"""What Celery does for sales."""

from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from .actions.folder import read_folder
from .actions.rematch import match_again
from .actions.settling import SETTLED_AGAIN, machine_to_settle, machines_to_settle
from .actions.settling import settle_counts as settle


@shared_task
def read_watch_folder() -> int:
    """Take in what lies in the watched folder; how many files that were."""
    if not settings.WATCH_FOLDER:
        return 0
    return len(read_folder(folder=Path(settings.WATCH_FOLDER), actor=None, now=timezone.now()))


@shared_task
def match_waiting_reads() -> int:
    """Match again what waits for a machine that has been entered since; how many found theirs."""
    return len(match_again(actor=None, now=timezone.now()))


@shared_task
def settle_counts() -> int:
    """Hand out the machines whose counts may have to be settled, or settled anew; how many."""
    keys = machines_to_settle(since=timezone.now() - SETTLED_AGAIN)
    for key in keys:
        settle_machine.delay(key)
    return len(keys)


@shared_task
def settle_machine(machine_id: int) -> int:
    """Settle the counts of one machine; how many units were posted as sold."""
    machine = machine_to_settle(machine_id)
    return 0 if machine is None else settle(machine, timezone.now()).sold
