"""What Celery does for tickets."""

from celery import shared_task
from django.utils import timezone

from .actions import keeping_promises, webhooks
from .actions.forgetting import forget_contacts


@shared_task
def forget_old_contacts() -> int:
    """Forget who reported faults that ended long enough ago; how many tickets."""
    return forget_contacts(now=timezone.now())


@shared_task
def keep_promises() -> int:
    """Tell of promised times that come near or are over; of how many tickets."""
    now = timezone.now()
    return keeping_promises.escalate(now=now) + keeping_promises.warn(now=now)


@shared_task
def send_webhooks() -> int:
    """Hand out every message that is to be sent now; how many."""
    due = webhooks.due(now=timezone.now())
    for delivery in due:
        send_webhook.delay(delivery)
    return len(due)


@shared_task
def send_webhook(delivery: int) -> bool | None:
    """Send one message, unless another worker is at it; whether it was taken."""
    return webhooks.send(delivery=delivery, clock=timezone.now)
