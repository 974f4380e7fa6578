"""Device tokens: who makes and takes them, and what a secret opens."""

from datetime import UTC, datetime, timedelta

import pytest

from people import audit
from people.actions import people, tokens
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, DeviceToken, Person

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)

pytestmark = pytest.mark.django_db


def person(name: str, *roles: str) -> Person:
    return people.add(email=f"{name}@desk.example.org", name=name, roles=roles, actor=None, now=NOW)


def test_a_secret_opens_and_is_kept_nowhere() -> None:
    driver = person("ada", "driver")
    token, secret = tokens.issue(person=driver, name="phone", actor=driver, now=NOW, days=30)

    found = tokens.holder(secret=secret, now=NOW)

    assert found == token
    assert found is not None
    assert found.person == driver
    stored = DeviceToken.objects.values().get()
    assert secret not in str(stored)
    assert all(secret not in str((e.before, e.after)) for e in AuditEntry.objects.all())
    assert all(token.digest not in str((e.before, e.after)) for e in AuditEntry.objects.all())
    assert secret.startswith(token.prefix)


def test_a_secret_opens_nothing_when_wrong_expired_revoked_or_its_holder_let_go() -> None:
    owner, driver = person("olga", "owner"), person("ada", "driver")
    token, secret = tokens.issue(person=driver, name="phone", actor=driver, now=NOW, days=1)
    assert tokens.holder(secret=secret[:-1] + "!", now=NOW) is None
    assert tokens.holder(secret=secret, now=NOW + timedelta(hours=23)) is not None
    assert tokens.holder(secret=secret, now=NOW + timedelta(days=1)) is None

    tokens.revoke(token=token, actor=driver, now=NOW, reason="lost")
    assert tokens.holder(secret=secret, now=NOW) is None

    _, other = tokens.issue(person=driver, name="tablet", actor=driver, now=NOW)
    people.let_go(person=driver, actor=owner, now=NOW)
    assert tokens.holder(secret=other, now=NOW) is None


def test_whoever_is_let_go_and_taken_back_needs_new_tokens() -> None:
    owner, driver = person("olga", "owner"), person("ada", "driver")
    lost, _ = tokens.issue(person=driver, name="old phone", actor=driver, now=NOW)
    tokens.revoke(token=lost, actor=driver, now=NOW, reason="lost")
    token, secret = tokens.issue(person=driver, name="phone", actor=driver, now=NOW)

    later = NOW + timedelta(hours=1)
    people.let_go(person=driver, actor=owner, now=later, reason="moved away")
    people.take_back(person=driver, actor=owner, now=later)

    assert tokens.holder(secret=secret, now=later) is None
    token.refresh_from_db()
    assert (token.revoked_at, token.revoked_by) == (later, owner)
    entry = audit.entries_of(token)[0]
    assert (entry.verb, entry.reason) == ("revoke device token", "moved away")
    lost.refresh_from_db()
    assert lost.revoked_at == NOW


def test_only_the_holder_or_an_owner_makes_and_takes() -> None:
    owner, driver = person("olga", "owner"), person("ada", "driver")
    other = person("otis", "dispatcher")
    with pytest.raises(NotAllowed):
        tokens.issue(person=driver, name="phone", actor=other, now=NOW)
    token, _ = tokens.issue(person=driver, name="phone", actor=owner, now=NOW)
    with pytest.raises(NotAllowed):
        tokens.revoke(token=token, actor=other, now=NOW)

    revoked = tokens.revoke(token=token, actor=owner, now=NOW)
    again = tokens.revoke(token=token, actor=driver, now=NOW + timedelta(hours=1))

    assert revoked.revoked_at == again.revoked_at == NOW
    assert again.revoked_by == owner
    assert AuditEntry.objects.filter(verb="revoke device token").count() == 1


@pytest.mark.parametrize("days", [0, -1, tokens.MOST_DAYS + 1])
def test_a_token_lives_for_some_days_and_not_for_ever(days: int) -> None:
    driver = person("ada", "driver")
    with pytest.raises(Unacceptable) as refused:
        tokens.issue(person=driver, name="phone", actor=driver, now=NOW, days=days)
    assert "days" in refused.value.fields
    assert not DeviceToken.objects.exists()


def test_nobody_let_go_gets_a_token() -> None:
    owner, driver = person("olga", "owner"), person("ada", "driver")
    people.let_go(person=driver, actor=owner, now=NOW)
    with pytest.raises(Unable):
        tokens.issue(person=driver, name="phone", actor=owner, now=NOW)


def test_the_use_is_noted_at_most_once_a_minute() -> None:
    driver = person("ada", "driver")
    token, secret = tokens.issue(person=driver, name="phone", actor=driver, now=NOW)
    tokens.holder(secret=secret, now=NOW)
    tokens.holder(secret=secret, now=NOW + timedelta(seconds=59))
    token.refresh_from_db()
    assert token.last_used_at == NOW
    tokens.holder(secret=secret, now=NOW + timedelta(seconds=60))
    token.refresh_from_db()
    assert token.last_used_at == NOW + timedelta(seconds=60)
