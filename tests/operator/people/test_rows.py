"""One row written by two people, each of whom read it before the other wrote."""

from datetime import UTC, datetime

import pytest

from people import audit, rows
from people.errors import Unable
from people.models import Person

NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture
def twice() -> tuple[Person, Person]:
    """The same row, read by two people."""
    made = rows.put(
        Person(password="!"),
        {"email": "ada@desk.example.org", "name": "Ada", "phone": "1"},
        actor=None,
        verb="add",
        now=NOW,
    )
    return Person.objects.get(pk=made.pk), Person.objects.get(pk=made.pk)


def put(row: Person, **changes: object) -> Person:
    return rows.put(row, changes, actor=None, verb="change", now=NOW)


def test_what_another_changed_meanwhile_stays_theirs(twice: tuple[Person, Person]) -> None:
    one, other = twice
    put(one, phone="2")
    # A form sends every field back, changed or not.
    put(other, name="Ada L.", phone="1")
    one.refresh_from_db()
    assert (one.name, one.phone) == ("Ada L.", "2")
    assert other.phone == "2"
    assert audit.entries_of(other)[0].after == {"name": "Ada L."}


def test_two_who_change_the_same_column_do_not_overwrite_each_other(
    twice: tuple[Person, Person],
) -> None:
    one, other = twice
    put(one, phone="2")
    with pytest.raises(Unable) as refused:
        put(other, phone="3")
    assert refused.value.code == "changed_meanwhile"
    assert other.phone == "1"
    one.refresh_from_db()
    assert one.phone == "2"


def test_two_who_change_it_alike_leave_one_entry(twice: tuple[Person, Person]) -> None:
    one, other = twice
    put(one, phone="2")
    put(other, phone="2")
    assert [entry.verb for entry in audit.entries_of(one)] == ["change", "add"]


def test_a_row_that_is_gone_is_neither_changed_nor_deleted_again(
    twice: tuple[Person, Person],
) -> None:
    one, other = twice
    rows.delete(one, actor=None, verb="remove", now=NOW)
    with pytest.raises(Unable):
        put(other, phone="3")
    with pytest.raises(Unable):
        rows.delete(other, actor=None, verb="remove", now=NOW)
    assert [entry.verb for entry in audit.entries_of(other)] == ["remove", "add"]
