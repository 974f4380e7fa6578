"""The Celery app: `celery -A config.celery worker`, with the root and `operator` on the path."""

import os

from celery import Celery, signals

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
app = Celery("colonnade")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@signals.setup_logging.connect
def keep_our_logs(**_: object) -> None:
    """Celery would install handlers of its own; the settings have configured logging already."""
