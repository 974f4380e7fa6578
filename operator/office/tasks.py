"""What the worker does for the desk: letters, which no request waits for."""

from celery import shared_task
from django.core.cache import cache

from people.models import Person

from .letters import send

BETWEEN_LETTERS_S = 300
"""How long after a letter nobody can have another sent to the same person."""


@shared_task
def forgotten(email: str, desk: str) -> bool:
    """Have a new link sent to whoever has this e-mail; whether there is somebody to send it to.

    Looked up here and not in the request, whose time would tell which e-mails are known.
    """
    person = Person.objects.filter(email__iexact=email, is_active=True).first()
    # `add` is one step in the cache: of two askings at once, one is the first.
    if person is None or not cache.add(f"letter:{person.pk}", True, timeout=BETWEEN_LETTERS_S):
        return False
    send_letter.delay(person.pk, "forgotten", desk)
    return True


# What a mail server refuses for now it may take later; SMTPException is an OSError.
@shared_task(autoretry_for=(OSError,), retry_backoff=30, retry_jitter=False, max_retries=5)
def send_letter(person: int, kind: str, desk: str) -> bool:
    """Send the letter of a kind, with a link at `desk`; not to somebody let go meanwhile."""
    found = Person.objects.filter(pk=person, is_active=True).first()
    if found is None:
        return False
    send(found, kind=kind, desk=desk)
    return True
