"""What drivers and warehouses did is written down as they noted it, through the business's actions.

Two weeks of four machines, one of them with a column that drops two for one payment.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

import pytest
from django.db import transaction

from demo.books import Books
from demo.business import Business, marrowby
from demo.business.machines import asset_tag
from demo.load import BEING_LOADED, main, read_in
from demo.past import Past
from demo.proof import differing, estimates_held
from demo.simulator import Simulated, simulate_with_truth
from demo.simulator.cases import CASES
from demo.simulator.happenings import Ordered, Received
from demo.standing import Standing
from fleet.inventory.models import MovementLine, PurchaseOrder, Receipt, ReceiptLine
from fleet.inventory.queries.check import check_stock
from fleet.sales.models import Bag
from fleet.sales.stock import settle_counts
from people.actions import business as desk
from people.models import Person
from service.runs.models import Run, Visit

UNTIL = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
WRONG = asset_tag("S12", "C")
TAGS = (asset_tag("S01", "A"), WRONG, asset_tag("S30", "B"), asset_tag("S33", "B"))


@dataclass(frozen=True)
class Loaded:
    business: Business
    simulated: Simulated
    books: Books


def part(business: Business) -> Business:
    """A few machines of it, one for each driver, with what they need."""
    return replace(
        business,
        machines=tuple(one for one in business.machines if one.asset_tag in TAGS),
        agreements=tuple(one for one in business.agreements if one.asset_tag in TAGS),
    )


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker):
    """Loaded once for the tests of this module, and taken back after the last of them."""
    business = part(marrowby(UNTIL))
    simulated = simulate_with_truth(business, UNTIL, weeks=2)
    with django_db_blocker.unblock(), transaction.atomic():
        books = Books(business, NOW, simulated.truth)
        books.write()
        standing = Standing(books, NOW)
        standing.write()
        read_in(simulated.files)
        Past(books, standing, simulated.truth).write()
        for machine in books.machines.values():
            settle_counts(machine, NOW)
        yield Loaded(business, simulated, books)
        transaction.set_rollback(True)


def visits(loaded: Loaded):
    for machine in loaded.business.machines:
        yield from loaded.simulated.truth[machine.asset_tag].visits


def test_the_ledger_balances(loaded):
    found = check_stock()
    assert not found.faults
    assert found.movements > 100


def test_every_place_holds_what_was_noted(loaded):
    assert differing(loaded.business, loaded.simulated.truth) == []


def test_a_wrong_note_would_be_noticed(loaded):
    truth = loaded.simulated.truth
    machine = truth[TAGS[0]]
    last = machine.visits[-1]
    other = replace(last.fills[0], noted_filled=last.fills[0].noted_filled + 1)
    wrong = replace(
        machine, visits=[*machine.visits[:-1], replace(last, fills=(other, *last.fills[1:]))]
    )
    told = differing(loaded.business, replace(truth, machines=truth.machines | {TAGS[0]: wrong}))
    # The column alone: the truck was counted in the evening, which put its book right.
    assert len(told) == 1
    assert told[0].startswith(TAGS[0])


def test_visits_and_bags_are_the_simulators(loaded):
    made = list(visits(loaded))
    assert Visit.objects.count() == len(made) > 15
    assert set(Bag.objects.values_list("seal_number", flat=True)) == {
        visit.seal for visit in made if visit.seal
    }
    assert all(run.state == Run.State.ENDED and run.plan is None for run in Run.objects.all())
    assert {visit.left_at for visit in Visit.objects.all()} == {visit.leaves for visit in made}


def test_what_was_ordered_came_with_its_differences(loaded):
    told = loaded.simulated.truth.happenings
    ordered = [one for one in told if isinstance(one, Ordered)]
    received = [one for one in told if isinstance(one, Received)]
    assert PurchaseOrder.objects.count() == len(ordered) > 10
    assert Receipt.objects.count() == len(received)
    lines = [line for one in received for line in one.lines]
    short = sum(line.ordered - line.received for line in lines)
    noted = sum(row.expected_units - row.units for row in ReceiptLine.objects.all())
    assert short == noted


def test_two_for_one_is_left_unexplained_at_its_column_alone(loaded):
    """What reads say was sold went to customers; the second product of each payment did not."""
    case = CASES[WRONG].wrong_program
    assert case is not None

    def at(tag: str, label: str) -> int:
        name = {"machine__asset_tag": tag, "position__label": label}
        out = {f"from_place__column__{key}": value for key, value in name.items()}
        back = {f"to_place__column__{key}": value for key, value in name.items()}
        lines = MovementLine.objects.filter(movement__reason__in=["count", "sale"])
        gone = sum(
            lines.filter(to_place__kind="unexplained", **out).values_list("quantity", flat=True)
        )
        return gone - sum(
            lines.filter(from_place__kind="unexplained", **back).values_list("quantity", flat=True)
        )

    truth = loaded.simulated.truth[WRONG]
    counted = truth.visits[-1].at
    second = sum(
        vend.dropped - 1 for vend in truth.vends if vend.column == case.column and vend.at < counted
    )
    assert second > 5
    assert abs(at(WRONG, case.column) - second) <= 3
    others = [fill.column for fill in truth.visits[0].fills if fill.column != case.column]
    assert all(abs(at(WRONG, label)) <= 3 for label in others)


def test_what_is_believed_of_columns_is_mostly_so(loaded):
    found = estimates_held(loaded.business, loaded.simulated.truth, UNTIL)
    assert found.of > 25
    assert found.share > 0.8


@pytest.mark.django_db
def test_a_load_that_was_broken_off_is_not_taken_for_the_whole(owner: Person, capsys):
    assert main([]) == 0
    assert "kept as it is" in capsys.readouterr().out
    name = BEING_LOADED.format("Marrowby Refreshments")
    desk.change(changes={"name": name}, actor=owner, now=NOW)
    assert main([]) == 1
    assert "broken off" in capsys.readouterr().err
