"""What Celery does for sales."""

from pathlib import Path

from celery import shared_task
from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from people.models import Business
from people.papers import as_pdf

from .actions.commission import address_of
from .actions.folder import read_folder
from .actions.rematch import match_again
from .actions.settling import SETTLED_AGAIN, machine_to_settle, machines_to_settle
from .actions.settling import settle_counts as settle
from .models import Statement
from .papers import statement_paper


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


# What a mail server refuses for now it may take later; SMTPException is an OSError.
@shared_task(autoretry_for=(OSError,), retry_backoff=30, retry_jitter=False, max_retries=5)
def mail_statement(key: int) -> bool:
    """Mail an issued statement to its host, on paper, unless it was."""
    with transaction.atomic():
        # Locked while it is sent: of two workers that are handed the same one, one sends it.
        found = (
            Statement.objects.select_for_update(skip_locked=True, of=("self",))
            .select_related("site")
            .filter(pk=key, mail_asked_at__isnull=False, mailed_at__isnull=True)
            .first()
        )
        if found is None or not address_of(found):
            return False
        name = Business.the().name
        paper = as_pdf(statement_paper(found))
        letter = EmailMessage(
            f"Statement {found.number} of commission for {found.site}",
            f"The statement for {found.figures['site']} from {found.starts_on} until before "
            f"{found.ends_on} is attached.\n\n{name}\n",
            None,
            [address_of(found)],
        )
        letter.attach(paper.name, paper.content, paper.media_type)
        letter.send()
        found.mailed_at = timezone.now()
        found.save(update_fields=["mailed_at"])
    return True


@shared_task
def mail_waiting_statements() -> int:
    """Hand out letters that were lost on the way to the worker; how many."""
    waiting = Statement.objects.filter(mail_asked_at__isnull=False, mailed_at__isnull=True)
    keys = list(waiting.values_list("pk", flat=True))
    for key in keys:
        mail_statement.delay(key)
    return len(keys)
