"""Over and short, on reads of a meter that tells of its cash box."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.compute.till import Basis
from fleet.machines.models import Machine
from fleet.sales.actions import floats
from fleet.sales.actions.bags import count_bag, seal
from fleet.sales.models import Bag
from fleet.sales.queries.differences import differences
from fleet.sales.queries.expected import expected_of
from people.models import Person
from tests.fleet.sales.helpers import arrived, day, take
from tests.fleet.sales.meter import Meter

pytestmark = pytest.mark.django_db


class Round:
    """Weekly visits: a read, a bag, and a count. The meter says 40.00 a week to the box."""

    def __init__(self, machine: Machine, driver: Person, *, tells: bool = True) -> None:
        self.machine, self.driver, self.tells = machine, driver, tells
        self.meter = Meter.with_buttons("1", price=200)
        self.week = self.boxed = 0

    def visit(self, counted: str | None, by: Person, *, bags: int = 1) -> list[Bag]:
        if self.week:
            self.meter.sell("1", cash=21)
            self.boxed += 4000
        if self.tells:
            self.meter.events = [f"CA3*0*0*0*0*{self.boxed}*{self.boxed}*0*0"]
        clock = day(7 * self.week)
        take(self.meter, clock)
        at = arrived(clock)
        made = []
        for n in range(bags):
            then = at + timedelta(minutes=10 + n)
            bag = seal(
                seal_number=f"{self.machine.pk}-{self.week}-{n}",
                machine=self.machine,
                sealed_at=then,
                actor=self.driver,
                now=then,
            )
            if counted is not None:
                share = Decimal(counted) / bags
                later = then + timedelta(hours=3)
                count_bag(bag=bag, amount=share, counted_at=later, actor=by, now=later)
            made.append(bag)
        self.week += 1
        return made

    def period(self) -> dict[str, object]:
        return {"since": arrived(day(-1)), "until": arrived(day(7 * self.week))}


def test_the_meter_says_what_a_bag_should_hold(
    lobby: Machine, driver: Person, accountant: Person
) -> None:
    round_ = Round(lobby, driver)
    (first,) = round_.visit("12", accountant)
    (second,) = round_.visit("39.75", accountant)
    assert expected_of(first).amount is None
    found = expected_of(second)
    assert (found.amount, found.basis, found.exact) == (Decimal(40), Basis.METER, True)
    told = differences(**round_.period())  # type: ignore[arg-type]
    assert [one.bag.difference for one in told.bags] == [None, Decimal("-0.25")]
    (subject,) = told.subjects
    assert (subject.bags, subject.left_out, subject.difference) == (1, 1, Decimal("-0.25"))
    assert (subject.short, subject.over) == (0, 0)


def test_cash_sales_stand_in_with_change_put_into_the_tubes(
    lobby: Machine, driver: Person, accountant: Person
) -> None:
    round_ = Round(lobby, driver, tells=False)
    round_.visit("12", accountant)
    (second,) = round_.visit("45", accountant)
    at = second.sealed_at + timedelta(minutes=5)
    floats.fill_tubes(
        machine=lobby, way="put_in", amount=Decimal(3), at=at, actor=accountant, now=at
    )
    found = expected_of(second)
    assert (found.amount, found.basis) == (Decimal(45), Basis.SALES)


def test_bags_of_one_visit_are_held_together(
    lobby: Machine, driver: Person, accountant: Person
) -> None:
    round_ = Round(lobby, driver)
    round_.visit("12", accountant)
    coins, notes = round_.visit("40", accountant, bags=2)
    assert expected_of(coins).amount is None
    assert "at the same visit" in expected_of(coins).said
    assert expected_of(notes).amount == 40
    told = differences(**round_.period())  # type: ignore[arg-type]
    last = told.bags[-1]
    assert (len(last.bag.together), last.bag.counted, last.bag.difference) == (2, 40, 0)


def test_repeated_shorts_are_marked_with_the_person_and_chance_is_not(
    lobby: Machine, driver: Person, accountant: Person, dispatcher: Person
) -> None:
    """A dollar short each week when one counts; coins of the tubes either way when another does."""
    round_ = Round(lobby, driver)
    round_.visit("12", accountant)
    for week in range(18):
        own = week % 2 == 0
        amount = "38.80" if own else ("40.15", "39.90")[week // 2 % 2]
        round_.visit(amount, accountant if own else dispatcher)
    round_.visit("21", dispatcher)
    told = differences(**round_.period(), by="counter")  # type: ignore[arg-type]
    by_name = {one.label: one for one in told.subjects}
    assert by_name[accountant.name].repeated.repeated
    assert not by_name[dispatcher.name].repeated.repeated
    last = told.bags[-1]
    assert last.judged is not None
    assert last.judged.short, "nineteen dollars are no coins of the tubes"
    assert last.band.cases == 18
    by_driver = differences(**round_.period(), by="driver")  # type: ignore[arg-type]
    assert [one.label for one in by_driver.subjects] == [driver.name]


def test_queries_do_not_grow_with_bags(lobby: Machine, driver: Person, accountant: Person) -> None:
    round_ = Round(lobby, driver)
    numbers = []
    for _ in range(3):
        for _ in range(2):
            round_.visit("40", accountant)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            differences(**round_.period())  # type: ignore[arg-type]
        numbers.append(len(asked))
    assert numbers[0] == numbers[-1] <= 5
