"""What the worker does for people: the letters behind notices."""

from datetime import timedelta

from celery import shared_task
from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.utils import timezone

from .models import Business, Notice

SWEPT_AFTER = timedelta(minutes=10)
GIVEN_UP_AFTER = timedelta(days=1)
"""A letter about what was pressing yesterday helps nobody; the notice itself stays on Today."""


# What a mail server refuses for now it may take later; SMTPException is an OSError.
@shared_task(autoretry_for=(OSError,), retry_backoff=30, retry_jitter=False, max_retries=5)
def mail(notice: int) -> bool:
    """Send the letter of a notice, unless it was sent or its person has left meanwhile."""
    with transaction.atomic():
        # Locked while it is sent: of two workers that are handed the same one, one sends it.
        found = (
            Notice.objects.select_for_update(skip_locked=True, of=("self",))
            .select_related("person")
            .filter(pk=notice, by_mail=True, mailed_at__isnull=True, person__is_active=True)
            .first()
        )
        if found is None:
            return False
        link = f"\n\n{settings.DESK_ADDRESS}{found.address}" if found.address else ""
        signed = f"\n\n{Business.the().name}\n"
        send_mail(found.subject, found.text + link + signed, None, [found.person.email])
        found.mailed_at = timezone.now()
        found.save(update_fields=["mailed_at"])
    return True


@shared_task
def mail_what_waits() -> int:
    """Hand out letters that were lost on the way to the worker; how many."""
    now = timezone.now()
    waiting = Notice.objects.filter(
        by_mail=True,
        mailed_at__isnull=True,
        at__range=(now - GIVEN_UP_AFTER, now - SWEPT_AFTER),
        person__is_active=True,
    ).values_list("pk", flat=True)
    for notice in waiting:
        mail.delay(notice)
    return len(waiting)
