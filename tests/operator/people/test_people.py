"""People: who works here, the last owner, passwords, and the trail that cannot be rewritten."""

from datetime import UTC, datetime
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction

from people import audit
from people.actions import business, people
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Business, Person

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)
GOOD = "ferry-landing-upper-hall"

pytestmark = pytest.mark.django_db


def person(name: str, *roles: str, **more: Any) -> Person:
    return people.add(
        email=f"{name}@desk.example.org", name=name, roles=roles, actor=None, now=NOW, **more
    )


def test_add_keeps_roles_in_order_and_leaves_a_trail(
    django_capture_on_commit_callbacks: Any,
) -> None:
    letters: list[Person] = []
    with django_capture_on_commit_callbacks(execute=True):
        added = person("ada", "driver", "owner", "driver", letter=letters.append)
    assert added.roles == ["owner", "driver"]
    assert not added.has_usable_password()
    assert letters == [added]
    [entry] = audit.entries_of(added)
    assert entry.verb == "add person"
    assert entry.after is not None
    assert "password" not in entry.after


def test_an_e_mail_belongs_to_one_person_whatever_its_capitals() -> None:
    person("ada")
    with pytest.raises(Unacceptable) as refused:
        people.add(email="ADA@desk.example.org", name="x", roles=[], actor=None, now=NOW)
    assert set(refused.value.fields) == {"email"}


def test_an_unknown_role_is_named_with_those_there_are() -> None:
    with pytest.raises(Unacceptable, match="king is no role; the roles are owner, dispatcher"):
        person("ada", "king")


def test_the_last_owner_stays_until_there_is_another() -> None:
    first = person("olga", "owner")
    with pytest.raises(Unable) as refused:
        people.let_go(person=first, actor=first, now=NOW)
    assert refused.value.code == "last_owner"
    with pytest.raises(Unable):
        people.change(person=first, changes={"roles": ["driver"]}, actor=first, now=NOW)

    second = person("omar", "owner")
    people.let_go(person=first, actor=second, now=NOW, reason="moved away")

    first.refresh_from_db()
    assert not first.is_active
    assert audit.entries_of(first)[0].reason == "moved away"


def test_a_weak_password_is_refused_and_a_good_one_kept_out_of_the_trail() -> None:
    ada = person("ada", "driver")
    with pytest.raises(Unacceptable) as refused:
        people.set_password(person=ada, password="1234567890", actor=ada, now=NOW)
    assert "password" in refused.value.fields
    people.set_password(person=ada, password=GOOD, actor=ada, now=NOW)
    ada.refresh_from_db()
    assert ada.check_password(GOOD)
    entry = audit.entries_of(ada)[0]
    assert (entry.verb, entry.before, entry.after) == ("set password", None, None)


def test_business_settings_are_checked_and_trailed() -> None:
    ada = person("ada", "owner")
    business.change(changes={"name": "Marrow Vending", "units": "mm"}, actor=ada, now=NOW)
    the = Business.the()
    assert (the.name, the.units) == ("Marrow Vending", "mm")
    with pytest.raises(Unacceptable):
        business.change(changes={"most_play_mm": "1", "least_play_mm": "2"}, actor=ada, now=NOW)
    assert audit.entries_of(the).count() == 1


@pytest.mark.parametrize(
    "changes",
    [{"side_clearance_mm": "-1"}, {"least_play_mm": "0", "most_play_mm": "0.5"}],
    ids=["negative clearance", "no room at a cap"],
)
def test_limits_by_which_no_column_could_be_computed_are_refused(changes: dict[str, str]) -> None:
    with pytest.raises(Unacceptable):
        business.change(changes=changes, actor=None, now=NOW)


@pytest.mark.parametrize(
    "statement", ["UPDATE people_auditentry SET verb = 'x'", "DELETE FROM people_auditentry"]
)
def test_the_audit_trail_cannot_be_rewritten(statement: str) -> None:
    person("ada", "driver")
    from django.db import connection  # the guard is the database's, so it is asked directly

    with (
        pytest.raises(DatabaseError, match="never changed or deleted"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statement)
    assert AuditEntry.objects.count() == 1


def test_the_first_owner_comes_in_by_command(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", StringIO(f"{GOOD}\n"))
    said = StringIO()
    call_command(
        "add_person",
        "olga@desk.example.org",
        "Olga",
        "--role=owner",
        "--password-from-stdin",
        stdout=said,
    )
    assert Person.objects.get().check_password(GOOD)
    assert "Olga" in said.getvalue()
    monkeypatch.setattr("sys.stdin", StringIO("short\n"))
    with pytest.raises(CommandError, match="password"):
        call_command(
            "add_person", "b@desk.example.org", "B", "--role=owner", "--password-from-stdin"
        )
    assert Person.objects.count() == 1
