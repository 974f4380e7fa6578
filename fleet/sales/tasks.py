"""What Celery does for sales."""

from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.utils import timezone

from .actions.folder import read_folder


@shared_task
def read_watch_folder() -> int:
    """Take in what lies in the watched folder; how many files that were."""
    if not settings.WATCH_FOLDER:
        return 0
    return len(read_folder(folder=Path(settings.WATCH_FOLDER), actor=None, now=timezone.now()))
