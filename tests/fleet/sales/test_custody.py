"""The way of a bag from its seal to the bank: every step is a line, and none is out of turn."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction

from fleet.machines.models import Machine
from fleet.sales.actions import bankings, custody, floats
from fleet.sales.actions.bags import UnableToCount, count_bag, seal
from fleet.sales.actions.counting import Counted
from fleet.sales.models import Bag, BagCount, BagCountLine, BagStep, Banking
from fleet.sales.queries.bags import bags_placed
from fleet.sales.queries.bankings import (
    Looked,
    banking_for,
    bankings_whole,
    still_to_bank,
    to_bank,
)
from fleet.sales.queries.custody import open_custody, timeline
from fleet.sales.queries.floats import float_of
from people.errors import NotAllowed, NotFound, Unable, Unacceptable
from people.models import AuditEntry, Business, Person
from tests.cast import NOW
from tests.races import at_once

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=6)


@pytest.fixture
def bag(lobby: Machine, driver: Person) -> Bag:
    return seal(seal_number="A-1", machine=lobby, sealed_at=NOW, actor=driver, now=NOW)


def state(bag: Bag) -> str:
    return bags_placed().get(pk=bag.pk).state


def step(bag: Bag, what: str, by: Person, **more: Any) -> BagStep:
    return custody.take_step(bag=bag, what=what, at=LATER, actor=by, now=LATER, **more)


def counted(bag: Bag, by: Person, amount: str = "41.25", **more: Any) -> BagCount:
    return count_bag(bag=bag, amount=Decimal(amount), counted_at=LATER, actor=by, now=LATER, **more)


def banked(bag: Bag, by: Person, amount: str = "41.25", **more: Any) -> Banking:
    given = {"slip_number": "77-1", "banked_at": LATER, "now": LATER} | more
    return bankings.bank(bags=[bag], amount=Decimal(amount), actor=by, **given)


def test_a_bag_goes_from_the_seal_to_the_bank(
    bag: Bag, accountant: Person, dispatcher: Person
) -> None:
    passed = [state(bag)]
    custody.receive_bags(bags=[bag], at=LATER, actor=dispatcher, now=LATER, second=accountant)
    passed.append(state(bag))
    step(bag, "opened", accountant)
    passed.append(state(bag))
    counted(bag, accountant, second=dispatcher)
    passed.append(state(bag))
    slip = banked(bag, accountant)
    passed.append(state(bag))
    assert passed == ["sealed", "received", "opened", "counted", "banked"]
    bankings.confirm(
        banking=slip,
        amount=Decimal("41.20"),
        confirmed_on=LATER.date(),
        actor=accountant,
        now=LATER,
    )
    assert bankings_whole().get().off == Decimal("-0.05")
    told = timeline(Bag.objects.get(pk=bag.pk))
    assert [one.words for one in told] == [
        "sealed",
        "received",
        "opened",
        "counted",
        "banked on slip 77-1",
        "the bank confirmed 41.20 for the slip on 2026-03-02",
    ]
    verbs = ("received bag", "opened bag", "count bag", "bank bags", "confirm banking")
    assert set(verbs) <= set(AuditEntry.objects.values_list("verb", flat=True))


def test_a_missing_bag_is_not_counted_until_it_is_found(bag: Bag, accountant: Person) -> None:
    with pytest.raises(Unacceptable):
        step(bag, "missing", accountant)
    step(bag, "missing", accountant, note="not in the truck on Monday evening")
    assert state(bag) == "missing"
    with pytest.raises(UnableToCount) as refused:
        counted(bag, accountant)
    assert refused.value.code == "bag_missing"
    step(bag, "found", accountant, note="under the seat")
    assert state(bag) == "sealed"
    counted(bag, accountant)


def test_steps_out_of_turn_are_refused(bag: Bag, accountant: Person, dispatcher: Person) -> None:
    with pytest.raises(Unable):
        step(bag, "found", accountant)
    step(bag, "received", accountant)
    for what in ("received", "found"):
        with pytest.raises(Unable) as refused:
            step(bag, what, accountant)
        assert refused.value.code == "out_of_turn"
    with pytest.raises(Unacceptable):
        custody.take_step(
            bag=bag, what="opened", at=NOW - timedelta(hours=1), actor=accountant, now=LATER
        )
    with pytest.raises(Unacceptable):
        step(bag, "opened", accountant, second=accountant)
    with pytest.raises(Unacceptable):
        custody.receive_bags(bags=[], at=LATER, actor=dispatcher, now=LATER)
    assert BagStep.objects.count() == 1


def test_denominations_add_up_and_say_how_sure_a_weight_is(bag: Bag, accountant: Person) -> None:
    """Ten quarters weigh 56.70 g (31 U.S.C. 5112(a)); 400 may weigh as 385 or 416 others do."""
    kept = count_bag(
        bag=bag,
        counted_at=LATER,
        actor=accountant,
        now=LATER,
        lines=[
            Counted("note", "by_count", denomination_minor=100, number=23),
            Counted("coin", "by_count", denomination_minor=10, number=7),
            Counted("coin", "by_weight", denomination_minor=25, weight_g=Decimal("56.70")),
            Counted("coin", "by_weight", denomination_minor=5, weight_g=Decimal(2000)),
            Counted("coin", "total", amount_minor=3),
        ],
    )
    assert kept.amount == Decimal("46.23")
    few, many = kept.lines.filter(how="by_weight").order_by("-denomination_minor")
    assert (few.number, few.least_minor, few.most_minor) == (10, 250, 250)
    assert "certain" in few.said
    assert many.number == 400
    assert many.least_minor < 2000 < many.most_minor


def test_lines_that_cannot_be_are_refused_by_number(bag: Bag, accountant: Person) -> None:
    wrong = [
        Counted("note", "by_weight", denomination_minor=100, weight_g=Decimal(10)),
        Counted("coin", "by_count", denomination_minor=20, number=1),
        Counted("coin", "by_weight", denomination_minor=25, weight_g=Decimal("8.5")),
        Counted("coin", "by_count", denomination_minor=25),
        Counted("coin", "total", number=3),
    ]
    with pytest.raises(Unacceptable) as refused:
        count_bag(bag=bag, counted_at=LATER, actor=accountant, now=LATER, lines=wrong)
    assert set(refused.value.fields) == {
        "lines.0.how",
        "lines.1.denomination_minor",
        "lines.2.weight_g",
        "lines.3.number",
        "lines.4.number",
    }
    with pytest.raises(Unacceptable):
        count_bag(
            bag=bag,
            counted_at=LATER,
            actor=accountant,
            now=LATER,
            amount=Decimal(1),
            lines=[Counted("note", "by_count", denomination_minor=100, number=2)],
        )
    assert not BagCountLine.objects.exists()
    assert not BagCount.objects.exists()


def test_a_bag_stands_on_one_banking_and_counts_again_once_it_is_taken_back(
    bag: Bag, accountant: Person
) -> None:
    with pytest.raises(Unable) as refused:
        banked(bag, accountant)
    assert refused.value.code == "bag_not_counted"
    counted(bag, accountant)
    with pytest.raises(Unacceptable):
        banked(bag, accountant, amount="40.00")
    slip = banked(bag, accountant, amount="40.00", note="a quarter roll was kept out")
    assert (slip.held, slip.amount) == (Decimal("41.25"), Decimal(40))
    with pytest.raises(Unable):
        banked(bag, accountant, slip_number="77-2")
    with pytest.raises(UnableToCount) as refused:
        counted(bag, accountant)
    assert refused.value.code == "bag_banked"
    bankings.take_back(banking=slip, reason="wrong slip", actor=accountant, now=LATER)
    assert state(bag) == "counted"
    again = banked(bag, accountant)
    with pytest.raises(Unable) as refused:
        bankings.confirm(
            banking=slip,
            amount=Decimal(1),
            confirmed_on=LATER.date(),
            actor=accountant,
            now=LATER,
        )
    assert refused.value.code == "taken_back"
    confirmed = {"banking": again, "amount": again.amount, "actor": accountant, "now": LATER}
    with pytest.raises(Unacceptable):
        bankings.confirm(**confirmed, confirmed_on=date(2026, 3, 1))
    bankings.confirm(**confirmed, confirmed_on=LATER.date())
    with pytest.raises(Unable) as refused:
        bankings.take_back(banking=again, reason="no", actor=accountant, now=LATER)
    assert refused.value.code == "banking_confirmed"


def test_what_was_seen_must_still_be_so(bag: Bag, accountant: Person, dispatcher: Person) -> None:
    first = counted(bag, accountant, after=0)
    with pytest.raises(UnableToCount) as refused:
        counted(bag, dispatcher, after=0)
    assert refused.value.code == "changed_meanwhile"
    counted(bag, dispatcher, amount="41.00", after=first.pk)
    with pytest.raises(Unable) as refused:
        banked(bag, accountant, held=Decimal("41.25"))
    assert refused.value.code == "changed_meanwhile"
    here = to_bank()
    assert [(row.pk, row.left) for row in here.rows] == [(bag.pk, Decimal(41))]
    assert (here.number, here.held, here.left_out) == (1, Decimal(41), 0)


def test_a_refusal_tells_the_time_on_the_clock_of_the_business(
    bag: Bag, accountant: Person
) -> None:
    Business.objects.update(time_zone="America/Chicago")  # six hours behind UTC in March
    before = {"actor": accountant, "now": LATER}
    early = NOW - timedelta(minutes=1)
    told = "bag A-1 was sealed 2026-03-02 08:00;"
    with pytest.raises(UnableToCount, match=told):
        count_bag(bag=bag, amount=Decimal(4), counted_at=early, **before)
    with pytest.raises(Unacceptable, match=told):
        custody.take_step(bag=bag, what="opened", at=early, **before)
    counted(bag, accountant, amount="41.25")
    with pytest.raises(Unacceptable, match=told):
        banked(bag, accountant, banked_at=early)


def test_counted_bags_are_looked_for_by_word_and_by_day(
    bag: Bag, lobby: Machine, accountant: Person, driver: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    days = [LATER + timedelta(days=n) for n in range(3)]
    late = seal(seal_number="B-2", machine=lobby, sealed_at=days[1], actor=driver, now=days[1])
    counted(bag, accountant)
    count_bag(bag=late, amount=Decimal(9), counted_at=days[2], actor=accountant, now=days[2])
    first, middle, last = (one.astimezone(Business.the().time_zone).date() for one in days)

    def seals(**looked: Any) -> list[str]:
        return [row.seal_number for row in to_bank(Looked(**looked)).rows]

    assert seals() == ["A-1", "B-2"], "what waits longest comes first"
    assert seals(search="b-2") == ["B-2"]
    assert seals(search=lobby.asset_tag) == seals(search=driver.name) == ["A-1", "B-2"]
    assert seals(search="nobody of that name") == []
    assert seals(until=first) == ["A-1"]
    assert seals(since=middle, until=middle) == ["B-2"]
    assert seals(since=last) == []
    assert seals(counted=True, since=last, until=last) == ["B-2"]
    monkeypatch.setattr("fleet.sales.queries.bankings.MOST_TO_BANK", 1)
    here = to_bank()
    assert [row.seal_number for row in here.rows] == ["A-1"]
    assert (here.left_out, here.found_left, here.held) == (1, Decimal("50.25"), Decimal("50.25"))
    banked(bag, accountant)
    assert [row.left for row in still_to_bank([bag.pk, late.pk])] == [Decimal(9)]


def test_change_comes_out_of_counted_bags_and_no_more_than_is_in_them(
    bag: Bag, lobby: Machine, accountant: Person
) -> None:
    given: dict[str, Any] = {"at": LATER, "actor": accountant, "now": LATER, "from_bag": bag}
    with pytest.raises(floats.NotInTheBag):
        floats.fill_tubes(machine=lobby, way="put_in", amount=Decimal(10), **given)
    counted(bag, accountant)
    floats.fill_tubes(machine=lobby, way="put_in", amount=Decimal(20), **given)
    site = lobby.placements.get(ends_at__isnull=True).site
    floats.move_float(site=site, what="put_in", amount=Decimal(15), **given)
    with pytest.raises(floats.NotInTheBag):
        floats.fill_tubes(machine=lobby, way="put_in", amount=Decimal("6.26"), **given)
    with pytest.raises(Unacceptable):
        floats.fill_tubes(machine=lobby, way="taken_out", amount=Decimal(1), **given)
    assert banked(bag, accountant, amount="6.25").held == Decimal("6.25")


def test_a_hosts_float_adds_up_and_a_count_writes_the_difference(
    lobby: Machine, accountant: Person
) -> None:
    site = lobby.placements.get(ends_at__isnull=True).site
    given: dict[str, Any] = {"site": site, "at": LATER, "actor": accountant, "now": LATER}
    floats.move_float(what="put_in", amount=Decimal(20), **given)
    floats.move_float(what="refund", amount=Decimal("1.75"), reference="T-9", **given)
    assert float_of(site) == Decimal("18.25")
    with pytest.raises(floats.NotInTheFloat):
        floats.move_float(what="taken_back", amount=Decimal(19), **given)
    line = floats.move_float(what="counted", amount=Decimal(18), **given)
    assert (line.amount, line.found, float_of(site)) == (Decimal("-0.25"), 18, 18)
    floats.move_float(what="refund", amount=Decimal(19), **given)
    assert float_of(site) == -1, "the host paid of their own and is owed it"


def test_what_waits_too_long_is_listed(bag: Bag, accountant: Person) -> None:
    assert not open_custody(NOW + timedelta(days=1)).shown
    (late,) = open_custody(NOW + timedelta(days=3)).shown
    assert (late.state, late.label, late.days, late.amount) == ("sealed", "A-1", 3, None)
    counted(bag, accountant)
    (late,) = open_custody(NOW + timedelta(days=9)).shown
    assert (late.state, late.amount) == ("counted", Decimal("41.25"))
    slip = banked(bag, accountant)
    (late,) = open_custody(NOW + timedelta(days=9)).shown
    assert (late.state, late.banking_id) == ("banked", slip.pk)
    confirmed = {"banking": slip, "confirmed_on": LATER.date(), "actor": accountant, "now": LATER}
    bankings.confirm(**confirmed, amount=Decimal(41))
    (late,) = open_custody(NOW + timedelta(days=1)).shown
    assert (late.state, late.amount) == ("differs", Decimal("-0.25"))
    bankings.confirm(**confirmed, amount=Decimal("41.25"), note="the quarter was found")
    assert not open_custody(NOW + timedelta(days=99)).shown


def test_lines_of_cash_are_never_changed(bag: Bag, accountant: Person) -> None:
    step(bag, "received", accountant)
    counted(bag, accountant)
    slip = banked(bag, accountant)
    for rows, change in (
        (BagStep.objects.all(), {"note": "x"}),
        (Banking.objects.all(), {"amount": 1, "note": "x"}),
    ):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            rows.update(**change)
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            rows._raw_delete(rows.db)
    bankings.take_back(banking=slip, reason="wrong slip", actor=accountant, now=LATER)
    with pytest.raises(IntegrityError, match="taken back once"), transaction.atomic():
        Banking.objects.update(taken_back_why="another")


def test_drivers_find_no_bankings_and_the_desk_changes_none(
    bag: Bag, accountant: Person, driver: Person, dispatcher: Person
) -> None:
    counted(bag, accountant)
    slip = banked(bag, accountant)
    assert banking_for(accountant, slip.pk, write=True) == slip
    assert banking_for(dispatcher, slip.pk) == slip
    with pytest.raises(NotAllowed):
        banking_for(dispatcher, slip.pk, write=True)
    with pytest.raises(NotFound):
        banking_for(driver, slip.pk)


@pytest.mark.django_db(transaction=True)
def test_two_people_count_one_bag_at_once_and_one_is_told(
    bag: Bag, accountant: Person, dispatcher: Person
) -> None:
    """Without the lock both would see no count, and the later one would pass over the other."""
    found = at_once(
        *(
            lambda who=who: counted(bag, who, after=0)  # type: ignore[misc]
            for who in (accountant, dispatcher)
        )
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert BagCount.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_people_bank_one_bag_at_once_and_one_is_told(
    bag: Bag, accountant: Person, owner: Person
) -> None:
    counted(bag, accountant)
    found = at_once(
        *(
            lambda who=who, slip=slip: banked(bag, who, slip_number=slip)  # type: ignore[misc]
            for who, slip in ((accountant, "1"), (owner, "2"))
        )
    )
    assert sorted(isinstance(one, Unable) for one in found) == [False, True]
    assert Banking.objects.count() == 1
