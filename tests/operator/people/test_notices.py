"""Notices: everybody is told once, by a letter that leaves only when what it tells of is kept."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from smtplib import SMTPServerDisconnected
from typing import Any

import pytest
from celery import current_app
from celery.exceptions import Retry
from django.core import mail
from django.db import IntegrityError, transaction
from django.utils import timezone

from people import tasks
from people.actions import notices, people
from people.errors import NotFound, Unacceptable
from people.models import Notice, Person
from people.queries import notices_of
from tests.races import at_once

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.fixture
def _worker_at_once(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setitem(current_app.conf, "task_always_eager", True)
    return


def tell(*who: Person, key: str = "ticket 7 late", **changes: Any) -> list[Notice]:
    given: dict[str, Any] = {
        "subject": "Late: LOB-1 takes no money",
        "text": "It was promised for 10:00.",
        "address": "/tickets/7/",
        "now": NOW,
    }
    return notices.tell(people=who, key=key, **(given | changes))


def test_everybody_is_told_once_a_key(owner: Person, dispatcher: Person) -> None:
    assert {one.person for one in tell(owner, dispatcher, owner)} == {owner, dispatcher}
    assert tell(owner, dispatcher) == []
    assert [one.person for one in tell(owner, key="ticket 8 late")] == [owner]
    assert Notice.objects.count() == 3
    assert notices_of(owner).count() == 2


def test_who_left_is_told_nothing(owner: Person, driver: Person) -> None:
    people.let_go(person=driver, actor=owner, now=NOW)
    driver.refresh_from_db()
    assert tell(driver) == []


@pytest.mark.parametrize("address", ["//elsewhere.example.org/", "https://elsewhere.example.org/"])
def test_a_notice_leads_nowhere_but_to_the_desk(owner: Person, address: str) -> None:
    with pytest.raises(IntegrityError, match="notice_leads_to_the_desk"), transaction.atomic():
        tell(owner, address=address)


def test_a_notice_says_something(owner: Person) -> None:
    with pytest.raises(Unacceptable):
        tell(owner, text="  ")
    assert not Notice.objects.exists()


def test_a_subject_stays_one_line(owner: Person) -> None:
    (told,) = tell(owner, subject="Late\r\nBcc: all@example.org\n" + "x" * 300)
    assert told.subject.startswith("Late Bcc: all@example.org xxx")
    assert len(told.subject) == 200


def test_a_person_sees_their_own_notices_and_nobody_elses(owner: Person, driver: Person) -> None:
    (mine,) = tell(owner)
    (theirs,) = tell(driver)
    later = NOW + timedelta(hours=1)
    with pytest.raises(NotFound):
        notices.see(person=owner, notice=theirs.pk, now=later)
    assert notices.see(person=owner, notice=mine.pk, now=later) == 1
    assert notices.see(person=owner, notice=mine.pk, now=later + timedelta(hours=1)) == 0
    mine.refresh_from_db()
    assert mine.seen_at == later
    tell(owner, key="another")
    assert notices.see(person=owner, now=later) == 1


@pytest.mark.usefixtures("_worker_at_once")
def test_the_letter_leaves_when_the_transaction_is_kept(
    owner: Person, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        tell(owner)
        assert not mail.outbox
    (letter,) = mail.outbox
    assert letter.to == [owner.email]
    assert letter.subject == "Late: LOB-1 takes no money"
    assert "http://testserver/tickets/7/" in letter.body
    assert Notice.objects.get().mailed_at is not None
    assert tasks.mail(Notice.objects.get().pk) is False
    assert len(mail.outbox) == 1


@pytest.mark.usefixtures("_worker_at_once")
def test_no_letter_where_none_is_wanted(
    owner: Person, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        tell(owner, by_mail=False)
    assert not mail.outbox


def test_a_letter_that_the_server_refuses_is_tried_again(
    owner: Person, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(current_app.conf, "task_always_eager", False)
    (told,) = tell(owner)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
    with pytest.raises((Retry, OSError, SMTPServerDisconnected)):
        tasks.mail.apply(args=[told.pk], throw=True)
    told.refresh_from_db()
    assert told.mailed_at is None


@pytest.mark.usefixtures("_worker_at_once")
def test_what_was_lost_on_the_way_to_the_worker_is_sent_later(owner: Person) -> None:
    now = timezone.now()
    tell(owner, key="lost", now=now - timedelta(minutes=20))
    tell(owner, key="on its way", now=now)
    tell(owner, key="of no use any more", now=now - timedelta(days=2))
    assert tasks.mail_what_waits() == 1
    assert [one.key for one in Notice.objects.filter(mailed_at__isnull=False)] == ["lost"]
    assert tasks.mail_what_waits() == 0


@pytest.mark.django_db(transaction=True)
def test_two_that_tell_at_once_tell_once(owner: Person, dispatcher: Person) -> None:
    told = at_once(lambda: tell(owner, dispatcher), lambda: tell(dispatcher, owner))
    assert sum(len(new) for new in told) == 2  # type: ignore[misc, arg-type]
    assert Notice.objects.count() == 2
