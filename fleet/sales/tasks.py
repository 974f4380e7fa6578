"""What Celery does for sales."""

from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from .actions.folder import read_folder
from .actions.rematch import match_again


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
