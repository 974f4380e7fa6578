"""Terminals for cards: taken down, and wrong entries set right, with the lines they lead."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from fleet.machines.models import Machine
from fleet.sales import money_tables
from fleet.sales.actions import cards, terminals
from fleet.sales.actions.terminals import UnableToChangeTerminal
from fleet.sales.models import CardTerminal, SettlementLine
from fleet.sales.queries.cards import Matched, matched
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Business, Person
from tests.cast import NOW
from tests.world import World

pytestmark = pytest.mark.django_db
SINCE, UNTIL = date(2026, 2, 1), date(2026, 3, 1)
JANUARY = date(2026, 1, 1)


@pytest.fixture
def hung(sold: Machine, accountant: Person) -> CardTerminal:
    """A terminal whose lines of 5 and 11 February were taken in."""
    given: dict[str, Any] = {"actor": accountant, "now": NOW}
    columns = {"date_column": "Day", "amount_column": "Gross", "terminal_column": "Terminal"}
    mapping = cards.save_mapping(mapping=None, changes={"name": "ours", **columns}, **given)
    row = terminals.hang_terminal(code="T-9", machine=sold, starts_on=JANUARY, **given)
    raw = b"Day,Terminal,Gross\n2026-02-05,T-9,30\n2026-02-11,T-9,40\n"
    cards.take_in(name="week.csv", raw=raw, mapping=mapping, **given)
    return row


def found() -> Matched:
    return matched(SINCE, UNTIL)


def machines() -> list[int | None]:
    rows = SettlementLine.objects.order_by("day").values_list("machine", flat=True)
    return list(rows)


def test_lines_after_the_end_have_no_machine_and_say_so(
    sold: Machine, hung: CardTerminal, accountant: Person
) -> None:
    assert found().mismatches == ()
    row = terminals.end_terminal(
        terminal=hung, ends_on=date(2026, 2, 10), actor=accountant, now=NOW
    )
    assert row.ends_on == date(2026, 2, 10)
    assert machines() == [sold.pk, None]
    (line,) = found().unmatched
    assert (line.gross, line.day) == (40, date(2026, 2, 11))
    assert line.why == "the terminal was taken down from LOB-1 on 2026-02-10"
    # The machine lacks that money now, and the mismatches as a file tell of both.
    rows = list(money_tables.matched(found(), Business.the().time_zone, mismatches=True).rows)
    assert [(one[0], one[-1]) for one in rows] == [
        ("LOB-1", "less was settled than sold"),
        ("not known", f"terminal T-9 on 2026-02-11: {line.why}"),
    ]
    assert AuditEntry.objects.filter(verb="end terminal").count() == 1
    with pytest.raises(UnableToChangeTerminal, match="ended on 2026-02-10; correct the entry"):
        terminals.end_terminal(terminal=hung, ends_on=UNTIL, actor=accountant, now=NOW)
    # Hung again, its lines find the machine again.
    again = terminals.hang_terminal(
        code="T-9", machine=sold, starts_on=date(2026, 2, 11), actor=accountant, now=NOW
    )
    assert (again.machine, machines()) == (sold, [sold.pk, sold.pk])


def test_it_ends_after_it_began(hung: CardTerminal, accountant: Person) -> None:
    for day in (JANUARY, date(2025, 12, 31)):
        with pytest.raises(Unacceptable, match="give a later day") as refused:
            terminals.end_terminal(terminal=hung, ends_on=day, actor=accountant, now=NOW)
        assert set(refused.value.fields) == {"ends_on"}


def test_a_wrong_entry_stays_and_another_says_what_is_right(
    sold: Machine, hung: CardTerminal, accountant: Person, world: World
) -> None:
    other = world.machine("LOB-2", sold.kind)
    given: dict[str, Any] = {"actor": accountant, "now": NOW}
    right = terminals.correct_terminal(
        terminal=hung, changes={"machine": other}, why="the wrong machine", **given
    )
    hung.refresh_from_db()
    assert (hung.withdrawn_at, hung.withdrawn_why) == (NOW, "the wrong machine")
    assert (hung.machine, right.instead_of, right.machine) == (sold, hung, other)
    assert machines() == [other.pk, other.pk]
    later = terminals.correct_terminal(
        terminal=right, changes={"starts_on": date(2026, 2, 10)}, why="a month late", **given
    )
    assert machines() == [None, other.pk]
    (line,) = found().unmatched
    assert line.why == "the terminal hangs in LOB-2 since 2026-02-10, not before"
    assert AuditEntry.objects.filter(verb="withdraw terminal", reason="a month late").exists()
    assert AuditEntry.objects.filter(verb="correct terminal").count() == 2
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        CardTerminal.objects.filter(pk=hung.pk).update(machine=other)
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        CardTerminal.objects.filter(pk=hung.pk)._raw_delete("default")
    for verb in (
        lambda: terminals.end_terminal(terminal=hung, ends_on=UNTIL, **given),
        lambda: terminals.correct_terminal(terminal=hung, changes={}, why="again", **given),
        lambda: terminals.withdraw_terminal(terminal=hung, why="again", **given),
    ):
        with pytest.raises(UnableToChangeTerminal, match="was withdrawn"):
            verb()
    with pytest.raises(UnableToChangeTerminal, match="nothing of this entry"):
        terminals.correct_terminal(terminal=later, changes={}, why="again", **given)


def test_a_correction_that_meets_another_entry_changes_nothing(
    sold: Machine, hung: CardTerminal, accountant: Person, world: World
) -> None:
    other = world.machine("LOB-2", sold.kind)
    given: dict[str, Any] = {"actor": accountant, "now": NOW}
    moved = terminals.hang_terminal(code="T-9", machine=other, starts_on=date(2026, 2, 10), **given)
    with pytest.raises(Unable, match="end or correct that one first"):
        terminals.correct_terminal(
            terminal=moved, changes={"starts_on": date(2026, 2, 1)}, why="a week late", **given
        )
    moved.refresh_from_db()
    assert (moved.withdrawn_at, machines()) == (None, [sold.pk, other.pk])
    with pytest.raises(Unacceptable, match="why: say what was wrong"):
        terminals.withdraw_terminal(terminal=moved, why=" ", **given)
    hung.refresh_from_db()
    terminals.correct_terminal(
        terminal=hung, changes={"ends_on": date(2026, 2, 4)}, why="earlier", **given
    )
    terminals.correct_terminal(
        terminal=moved, changes={"starts_on": date(2026, 2, 4)}, why="earlier", **given
    )
    assert machines() == [other.pk, other.pk]


def test_without_any_entry_the_number_may_be_a_machines(
    sold: Machine, hung: CardTerminal, accountant: Person, world: World
) -> None:
    given: dict[str, Any] = {"actor": accountant, "now": NOW}
    terminals.withdraw_terminal(terminal=hung, why="there is no such terminal", **given)
    assert machines() == [None, None]
    assert {line.why for line in found().unmatched} == {
        "no terminal and no machine has this number"
    }
    named = world.machine("T-10", sold.kind)
    row = terminals.hang_terminal(code="T-9", machine=named, starts_on=JANUARY, **given)
    assert machines() == [named.pk, named.pk]
    terminals.correct_terminal(
        terminal=row, changes={"code": "T-10", "machine": sold}, why="misread", **given
    )
    assert machines() == [None, None]
    assert sum((line.gross for line in found().unmatched), Decimal(0)) == 70
