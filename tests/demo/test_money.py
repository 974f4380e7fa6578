"""Cash, cards, tax, duties and food of the loaded business, as its people left them.

Two weeks of five machines, two of which hold milk that is kept cold.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from django.db.models import Sum

from demo.banked import Banked
from demo.books import Books
from demo.business import Business, marrowby
from demo.business.machines import asset_tag
from demo.carded import FEE, Carded
from demo.load import read_in
from demo.measured import WARM_NOW, WARM_ONCE, Measured
from demo.owed import Owed
from demo.past import Past
from demo.proof import differing
from demo.recalled import Recalled
from demo.simulator import Simulated, simulate_with_truth
from demo.standing import Standing
from demo.taxed import CAME_AFTER, Taxed
from fleet.inventory.queries.check import check_stock
from fleet.sales.models import Bag, BagStep, BankedBag, Banking, SettlementLine
from fleet.sales.queries.bags import bags_placed
from fleet.sales.queries.cards import matched
from service.compliance.models import (
    AccessCheck,
    Duty,
    DutyDone,
    EnergyReading,
    FoodLock,
    Recall,
    RecallRemoval,
)

UNTIL = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db
TAGS = (asset_tag("S01", "A"), asset_tag("S37", "B"), asset_tag("S33", "B"), WARM_NOW, WARM_ONCE)


@dataclass(frozen=True)
class Loaded:
    business: Business
    simulated: Simulated
    books: Books


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker):
    """Loaded once for the tests of this module, and taken back after the last of them."""
    whole = marrowby(UNTIL)
    business = replace(
        whole,
        machines=tuple(one for one in whole.machines if one.asset_tag in TAGS),
        agreements=(),
    )
    simulated = simulate_with_truth(business, UNTIL, weeks=2)
    with django_db_blocker.unblock(), transaction.atomic():
        books = Books(business, NOW, simulated.truth)
        books.write()
        standing = Standing(books, NOW)
        standing.write()
        read_in(simulated.files)
        Past(books, standing, simulated.truth).write()
        Banked(books, simulated.truth).write()
        Carded(books, simulated.truth, UNTIL).write()
        Owed(books, UNTIL).write()
        Measured(books).write()
        Recalled(books).write()
        yield Loaded(business, simulated, books)
        transaction.set_rollback(True)


def test_every_bag_is_banked_or_waits_or_is_missing(loaded):
    states = dict(bags_placed().values_list("seal_number", "state"))
    assert len(states) == Bag.objects.count() > 15
    assert list(states.values()).count("missing") == 1
    last = max(bag.sealed_at for bag in Bag.objects.all())
    for bag in Bag.objects.all():
        if states[bag.seal_number] in ("sealed", "received"):
            assert bag.sealed_at > last - timedelta(days=1)
    assert "banked" in states.values()
    assert BagStep.objects.filter(what="received").exists()


def test_what_was_banked_is_what_was_counted(loaded):
    counted = {
        visit.seal: Decimal(visit.counted_minor) / 100
        for tag in TAGS
        for visit in loaded.simulated.truth[tag].visits
    }
    for on in BankedBag.objects.select_related("bag"):
        assert on.amount == counted[on.bag.seal_number]
    for slip in Banking.objects.annotate(bags=Sum("banked__amount")):
        assert slip.amount == slip.bags
    last = Banking.objects.order_by("-banked_at").first()
    assert last is not None
    assert not last.confirmations.exists()


def test_cards_settle_what_machines_counted(loaded):
    # By the clock of the reads: what was sold after a day's read counts for the day after it.
    found = matched(UNTIL - timedelta(days=11), UNTIL - timedelta(days=1), tolerance=Decimal(10))
    assert {one.machine for one in found.machines} <= set(TAGS)
    assert not found.unmatched
    assert not found.mismatches
    for line in SettlementLine.objects.all():
        assert abs(line.fee - line.gross * FEE) <= Decimal("0.005")


def test_one_machine_is_locked_and_one_was(loaded):
    by_tag = {lock.machine.asset_tag: lock for lock in FoodLock.objects.select_related("machine")}
    assert set(by_tag) == {WARM_NOW, WARM_ONCE}
    assert by_tag[WARM_NOW].lifted_at is None
    assert by_tag[WARM_ONCE].lifted_at is not None
    assert AccessCheck.objects.exists()
    assert EnergyReading.objects.exists()


def test_duties_are_done_with_papers_and_some_are_late(loaded):
    assert DutyDone.objects.filter(evidence__media_type="application/pdf").count() == 2
    open_ones = Duty.objects.filter(state=Duty.State.OPEN)
    assert open_ones.filter(due_on__lt=UNTIL).count() >= 2
    assert open_ones.filter(due_on__gte=UNTIL).exists()


def test_what_was_called_back_is_proved_and_the_books_still_balance(loaded):
    recall = Recall.objects.get()
    fetched = RecallRemoval.objects.filter(recall=recall)
    assert fetched.exists()
    assert all(one.evidence is not None and one.quantity for one in fetched)
    assert not check_stock().faults
    assert differing(loaded.business, loaded.simulated.truth) == []


def test_reads_that_came_late_are_late_for_a_filed_period_and_none_is_lost(loaded, weeks):
    taxed = Taxed(loaded.books, UNTIL, weeks=12)
    files = weeks.simulated.files
    held = taxed.held_back(files)
    assert sorted(one.name for one in held) == sorted(one.name for one in files)
    assert held == sorted(held, key=lambda one: (one.delivered_at.timestamp(), one.name))
    on_time = {one.name: one.delivered_at for one in files}
    late = [one for one in held if one.delivered_at != on_time[one.name]]
    assert {one.machine_tag for one in late} == {asset_tag("S01", "A"), asset_tag("S37", "B")}
    at = [step.at for step in taxed.steps()]
    assert at == sorted(at)
    assert {one.delivered_at for one in late} <= {moment + CAME_AFTER for moment in at}
    # A quarter in one state; two months in the other, one of them amended.
    assert len(at) == 4


def test_nothing_is_filed_of_what_was_hardly_simulated(loaded):
    taxed = Taxed(loaded.books, UNTIL, weeks=2)
    assert taxed.steps() == []
    assert taxed.held_back(loaded.simulated.files) == sorted(
        loaded.simulated.files, key=lambda one: (one.delivered_at.timestamp(), one.name)
    )
