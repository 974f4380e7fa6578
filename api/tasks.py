"""The API's own housekeeping. The clock stands in the settings' beat schedule."""

from celery import shared_task
from django.utils import timezone

from . import idempotency


@shared_task(name="api.tasks.forget_expired_keys")
def forget_expired_keys() -> int:
    return idempotency.purge(now=timezone.now())
