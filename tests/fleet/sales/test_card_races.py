"""Two people who take in one file, or hang one terminal, at once."""

from datetime import date

import pytest

from fleet.machines.models import Machine
from fleet.sales.actions import cards, terminals
from fleet.sales.actions.cards import TakenInBefore
from fleet.sales.models import CardTerminal, SettlementFile, SettlementLine
from people.errors import Unable
from people.models import AuditEntry, Person
from tests.cast import NOW
from tests.races import at_once

pytestmark = pytest.mark.django_db(transaction=True)
RAW = b"Day,Terminal,Gross\n2026-02-04,T1,30\n2026-02-05,T1,12.50\n"


def test_one_file_taken_in_twice_at_once_is_kept_once(owner: Person, accountant: Person) -> None:
    mapping = cards.save_mapping(
        mapping=None,
        changes={
            "name": "ours",
            "date_column": "Day",
            "amount_column": "Gross",
            "terminal_column": "Terminal",
        },
        actor=owner,
        now=NOW,
    )
    found = at_once(
        *(
            lambda by=by: cards.take_in(  # type: ignore[misc]
                name="week.csv", raw=RAW, mapping=mapping, actor=by, now=NOW
            )
            for by in (owner, accountant, owner, accountant)
        )
    )
    kept = [one for one in found if isinstance(one, SettlementFile)]
    refused = [one for one in found if isinstance(one, TakenInBefore)]
    assert (len(kept), len(refused)) == (1, 3)
    assert all("is the same file" in one.message for one in refused)
    assert SettlementFile.objects.get() == kept[0]
    assert SettlementLine.objects.count() == 2
    assert AuditEntry.objects.filter(verb="take in settlements").count() == 1


def test_one_terminal_hangs_in_one_machine(lobby: Machine, owner: Person) -> None:
    found = at_once(
        *[
            lambda: terminals.hang_terminal(
                code="T1", machine=lobby, starts_on=date(2026, 2, 1), actor=owner, now=NOW
            )
        ]
        * 2
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert CardTerminal.objects.count() == 1
