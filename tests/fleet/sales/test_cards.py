"""Settlements of cards: taken in whole or not at all, and held against what machines counted."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from fleet.machines.models import Machine
from fleet.sales.actions import cards, terminals
from fleet.sales.models import SettlementFile, SettlementLine, SettlementMapping
from fleet.sales.queries.cards import fees_of_machines, files, matched
from people.errors import Unable, Unacceptable
from people.models import AuditEntry, Person
from tests.cast import NOW
from tests.fleet.sales.helpers import day, take
from tests.fleet.sales.meter import Meter
from tests.world import World

pytestmark = pytest.mark.django_db
SINCE, UNTIL = date(2026, 2, 1), date(2026, 3, 1)


@pytest.fixture
def mapping(owner: Person) -> SettlementMapping:
    return cards.save_mapping(
        mapping=None,
        changes={
            "name": "ours",
            "date_column": "Day",
            "amount_column": "Gross",
            "fee_column": "Fee",
            "terminal_column": "Terminal",
            "reference_column": "Batch",
            "day_order": "month_first",
            "delimiter": ";",
            "decimal_mark": ",",
            "fees_are_negative": True,
        },
        actor=owner,
        now=NOW,
    )


def file(*lines: str) -> bytes:
    return "\r\n".join(["Day;Terminal;Gross;Fee;Batch", *lines]).encode("utf-8-sig")


def take_in(mapping: SettlementMapping, by: Person, *lines: str) -> SettlementFile:
    return cards.take_in(name="week.csv", raw=file(*lines), mapping=mapping, actor=by, now=NOW)


@pytest.fixture
def sold(lobby: Machine) -> Machine:
    """Ten days with 40 vends by card at 1.75."""
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    take(meter.sell("1", cashless=40, cash=3), day(10))
    return lobby


def test_settlements_are_held_against_sales(
    sold: Machine, mapping: SettlementMapping, accountant: Person
) -> None:
    terminals.hang_terminal(
        code="T-9", machine=sold, starts_on=date(2026, 1, 1), actor=accountant, now=NOW
    )
    made = take_in(mapping, accountant, "02/05/2026;T-9;30,00;-1,50;a", "02/11/2026;T-9;40,00;-2;b")
    found = matched(SINCE, UNTIL)
    (one,) = found.machines
    assert (one.counted, one.settled, one.why) == (70, 70, "")
    assert sum(each.counted or 0 for each in one.days) == 70
    assert found.fees == Decimal("3.50")
    assert fees_of_machines(SINCE, UNTIL) == {sold.pk: Decimal("3.5")}
    told = files().get()
    assert (told.pk, told.count, told.gross, told.net, told.lacking) == (
        made.pk,
        2,
        70,
        Decimal("66.5"),
        0,
    )


def test_mismatches_are_listed(
    sold: Machine, mapping: SettlementMapping, accountant: Person
) -> None:
    assert matched(SINCE, UNTIL).mismatches[0].why == "sold for cards, and nothing was settled"
    take_in(mapping, accountant, "02/05/2026;LOB-1;60,00;0;", "02/06/2026;NOWHERE;9,00;-0,30;")
    found = matched(SINCE, UNTIL)
    assert [one.why for one in found.mismatches] == ["less was settled than sold"]
    assert [one.terminal for one in found.unmatched] == ["NOWHERE"]
    assert matched(SINCE, UNTIL, tolerance=Decimal(10)).mismatches == ()
    terminals.hang_terminal(
        code="NOWHERE", machine=sold, starts_on=date(2026, 2, 1), actor=accountant, now=NOW
    )
    assert matched(SINCE, UNTIL).unmatched == ()
    assert matched(SINCE, UNTIL).mismatches == ()


def test_lines_go_with_a_terminal_whose_move_is_told_late(
    sold: Machine, mapping: SettlementMapping, accountant: Person, world: World
) -> None:
    other = world.machine("LOB-2", sold.kind)
    given = {"code": "T-9", "actor": accountant, "now": NOW}
    terminals.hang_terminal(machine=sold, starts_on=date(2026, 1, 1), **given)
    take_in(mapping, accountant, "02/05/2026;T-9;30,00;-1,50;a", "02/11/2026;T-9;40,00;-2;b")
    terminals.hang_terminal(machine=other, starts_on=date(2026, 2, 10), **given)
    assert fees_of_machines(SINCE, UNTIL) == {sold.pk: Decimal("1.5"), other.pk: Decimal(2)}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("2026-02-05;T-9;30,00;0;", "line 3: Day: '2026-02-05' is no day like 11/25/2026"),
        ("02/05/2026;T-9;thirty;0;", "line 3: Gross: 'thirty' is no amount"),
        ("02/05/2026;T-9;1,005;0;", "line 3: Gross: '1,005' has more than 2 decimals"),
        ("02/05/2026;;30,00;0;", "line 3: Terminal: give 1 to 60 characters"),
        ("02/05/2026;T-9", "line 3: Gross: '' is no amount"),
    ],
)
def test_one_wrong_line_takes_nothing_in(
    mapping: SettlementMapping, accountant: Person, line: str, said: str
) -> None:
    with pytest.raises(Unacceptable) as refused:
        take_in(mapping, accountant, "02/05/2026;T-9;30,00;0;", line)
    assert said in str(refused.value)
    assert not SettlementLine.objects.exists()
    assert not SettlementFile.objects.exists()


def test_a_file_is_taken_in_once_and_stays(mapping: SettlementMapping, accountant: Person) -> None:
    made = take_in(mapping, accountant, "02/05/2026;T-9;30,00;0;")
    with pytest.raises(Unable, match="the same file"):
        take_in(mapping, accountant, "02/05/2026;T-9;30,00;0;")
    with pytest.raises(DatabaseError, match="never changed"), transaction.atomic():
        SettlementLine.objects.filter(file=made).update(gross=1, net=1)
    assert bytes(SettlementFile.objects.get().raw) == file("02/05/2026;T-9;30,00;0;")


def test_a_changed_mapping_reads_later_files_and_no_earlier(
    mapping: SettlementMapping, accountant: Person
) -> None:
    take_in(mapping, accountant, "02/05/2026;T-9;30,00;-1,00;a")
    cards.save_mapping(
        mapping=mapping,
        changes={"fees_are_negative": False, "reference_column": ""},
        actor=accountant,
        now=NOW,
    )
    take_in(mapping, accountant, "02/06/2026;T-9;30,00;2,00;b")
    first, second = SettlementFile.objects.order_by("pk")
    assert (first.columns["fees_are_negative"], first.columns["reference_column"]) == (
        True,
        "Batch",
    )
    assert second.columns == cards.columns_of(mapping)
    lines = SettlementLine.objects.order_by("pk").values_list("fee", "reference")
    assert list(lines) == [(1, "a"), (2, "")]
    entry = AuditEntry.objects.filter(verb="save columns of settlements").latest("pk")
    assert (entry.before["reference_column"], entry.after["reference_column"]) == ("Batch", "")


def test_a_file_without_the_columns_is_refused(
    mapping: SettlementMapping, accountant: Person
) -> None:
    given: dict[str, Any] = {"name": "x", "mapping": mapping, "actor": accountant, "now": NOW}
    with pytest.raises(Unacceptable, match="has no column Batch, Fee, Gross, Terminal"):
        cards.take_in(raw=b"Day;Sum\n1;2\n", **given)
    with pytest.raises(Unacceptable, match="is not UTF-8"):
        cards.take_in(raw=b"\xff\xfe", **given)


def test_a_day_that_reads_tell_of_in_part_is_no_mismatch(
    sold: Machine, mapping: SettlementMapping, accountant: Person
) -> None:
    """What was sold after the last read of a day is settled all the same."""
    first = "02/05/2026;LOB-1;60,00;0;"
    take_in(mapping, accountant, first, f"{day(10):%m/%d/%Y};LOB-1;25,00;0;")
    (found,) = matched(SINCE, UNTIL).machines
    assert found.difference == 15
    assert found.why == ""
    assert [one.is_whole for one in found.days if one.day == day(10).date()] == [False]
    take_in(mapping, accountant, "02/06/2026;LOB-1;20,00;0;")
    assert [one.why for one in matched(SINCE, UNTIL).mismatches] == ["more was settled than sold"]
