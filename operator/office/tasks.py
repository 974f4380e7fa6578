"""What the worker does for the desk: letters and searches, which no request waits for."""

from celery import shared_task
from django.core.cache import cache
from django.utils import timezone

from people.errors import Unable
from people.models import Person
from people.refused import in_words
from service.runs.actions import board, plans

from . import searches
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


@shared_task
def search(key: str) -> str:
    """Search for the plan that somebody asked for; the state it ends in.

    A search that is handed out twice is made once.
    """
    asked = searches.find(key)
    if asked is None or asked.is_over:
        return "over"
    person = Person.objects.filter(pk=asked.person, is_active=True).first()
    if person is None:
        return searches.tell(asked, "refused", "Whoever asked works here no more.").state
    searches.tell(asked, "searching")
    try:
        with in_words():
            return searches.tell(asked, "done", *_found(asked, person)).state
    except Unable as error:
        return searches.tell(asked, "refused", error.message).state


def _found(asked: searches.Search, person: Person) -> tuple[str, int | None]:
    now = timezone.now()
    if asked.what == "rest":
        rest = board.replan(date=asked.on, actor=person, now=now)
        return f"The rest of the day is planned anew, {rest.said}", None
    if asked.what == "week":
        made = plans.plan_week(starts_on=asked.on, actor=person, now=now)
        return f"{len(made)} days are planned; each is a draft.", None
    plan = plans.plan_day(date=asked.on, actor=person, now=now)
    return "The day is planned; it is a draft until somebody agrees.", plan.pk
