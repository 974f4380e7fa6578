"""What Celery does for tickets."""

from celery import shared_task
from django.utils import timezone

from .actions.forgetting import forget_contacts


@shared_task
def forget_old_contacts() -> int:
    """Forget who reported faults that ended long enough ago; how many tickets."""
    return forget_contacts(now=timezone.now())
