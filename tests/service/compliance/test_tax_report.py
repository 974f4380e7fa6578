"""Sales tax from audit reads: parts add up to receipts whatever an interval crosses."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db.models import Sum

from fleet.machines.actions import machines
from fleet.machines.models import Machine
from fleet.sales.actions.bags import seal
from fleet.sales.models import SaleInterval
from people.errors import Unable, Unacceptable
from people.models import Person
from service.compliance.actions import filing, tax_rules
from service.compliance.models import Filing, Rate, RateFile, TaxRule
from service.compliance.queries.filing import (
    due_periods,
    inputs_of,
    recomputed,
    since_filed,
    standing_filing,
)
from service.compliance.queries.tax import (
    tax_of_machines,
    tax_report,
)
from service.compliance.queries.tax_drill import line_of_machine, machines_of_line
from service.compliance.sums.gathering import Period
from service.compute.tax.report import digest
from tests.service.compliance.taxed import (
    Sales,
    drinks,
    local,
    machine_at,
    rate,
)
from tests.world import World

pytestmark = pytest.mark.django_db
FEBRUARY = Period(date(2026, 2, 1), date(2026, 3, 1))
JANUARY = Period(date(2026, 1, 1), date(2026, 2, 1))


def sold_in_all() -> Decimal:
    total = SaleInterval.objects.aggregate(all=Sum("paid_minor"))["all"] or 0
    return Decimal(total).scaleb(-2)


def test_the_divisor_of_the_county(florida: Machine) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=300, card_2=200)
    found = tax_report(FEBRUARY).report
    assert found.totals.receipts == Decimal("875.00") == sold_in_all()
    by_class = {str(line.code): line for line in found.lines}
    assert set(by_class) == {"soft_drink", "water"}
    soda = by_class["soft_drink"].split
    assert (soda.receipts, soda.taxable, soda.tax) == (
        Decimal("525.00"),
        Decimal("489.46"),
        Decimal("35.54"),
    )
    assert set(found.due) == {"FL", "FL-00-00011"}
    assert sum(found.due.values()) == found.totals.tax


def test_without_rules_nothing_is_assumed(florida: Machine, owner: Person, world: World) -> None:
    for row in TaxRule.objects.all():
        tax_rules.remove_rule(rule=row, why="to see", actor=owner, now=world.now)
    sales = Sales(florida)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 20, 9), cash_1=4)
    found = tax_report(FEBRUARY).report
    assert found.totals.unclassified == Decimal("7.00")
    assert "no rule of FL is entered" in found.lines[0].split.why[0]
    assert any("unclassified" in said for said in found.said)


def test_a_rate_change_cuts_the_interval(florida: Machine, owner: Person, world: World) -> None:
    rate("FL-00-00011", "county", "0.015", owner, world.now, begins=date(2026, 2, 11))
    sales = Sales(florida)
    sales.read(local(2026, 2, 1, 0))
    sales.read(local(2026, 2, 21, 0), cash_1=101)
    found = tax_report(FEBRUARY).report
    assert [(line.split.rate, line.split.receipts) for line in found.lines] == [
        (Decimal("0.07"), Decimal("88.37")),
        (Decimal("0.075"), Decimal("88.38")),
    ]
    assert sum(line.units for line in found.lines) == 101
    assert found.totals.receipts == sold_in_all()


def test_a_move_cuts_the_interval(florida: Machine, owner: Person, world: World) -> None:
    jersey = world.site("Dune Street", state="NJ")
    tax_rules.load_packs(states=["NJ"], actor=owner, now=world.now)
    rate("NJ", "state", "0.06625", owner, world.now)
    machines.place_machine(
        machine=florida, site=jersey, starts_at=local(2026, 2, 6, 0), actor=owner, now=world.now
    )
    sales = Sales(florida)
    sales.read(local(2026, 2, 1, 0))
    sales.read(local(2026, 2, 21, 0), cash_1=400)
    found = tax_report(FEBRUARY).report
    receipts = {line.state: line.split.receipts for line in found.lines}
    assert receipts == {"FL": Decimal("175.00"), "NJ": Decimal("525.00")}
    assert tax_report(FEBRUARY, state="NJ").report.totals.receipts == Decimal("525.00")


def test_the_three_ways_in_which_receipts_fall(
    florida: Machine, owner: Person, world: World
) -> None:
    """Read on 20 January and 9 February, the bag sealed at the second visit."""
    sales = Sales(florida)
    sales.read(local(2026, 1, 20, 0))
    sales.read(local(2026, 2, 9, 0), cash_1=100, card_1=100)
    sales.read(local(2026, 2, 19, 0), cash_1=10)
    seal(
        seal_number="A1",
        machine=florida,
        sealed_at=local(2026, 2, 9, 0),
        actor=owner,
        now=world.now,
    )

    def receipts(period: Period, basis: str) -> Decimal:
        return tax_report(period, basis=basis).report.totals.receipts

    assert receipts(JANUARY, "read") == 0
    assert receipts(FEBRUARY, "read") == Decimal("367.50")
    # 12 of 20 days lie in January.
    assert receipts(JANUARY, "days") == Decimal("210.00")
    assert receipts(FEBRUARY, "days") == Decimal("157.50")
    # What was sold after the bag was sealed for cash is still in the machine.
    assert receipts(FEBRUARY, "collection") == Decimal("350.00")
    whole = Period(date(2026, 1, 1), date(2026, 3, 1))
    assert receipts(whole, "days") == sold_in_all() == receipts(whole, "read")


def test_cuts_of_periods_lose_no_cent(florida: Machine) -> None:
    """Odd moments and odd counts: the days' reports of a month add up to the month's."""
    sales = Sales(florida, price=133)
    at = local(2026, 1, 28, 7, 13)
    sales.read(at)
    for step in range(9):
        at += timedelta(days=3, hours=5, minutes=7 * step)
        sales.read(at, cash_1=7 + step, card_2=3 * step)
    days = [
        Period(date(2026, 2, 1) + timedelta(n), date(2026, 2, 2) + timedelta(n)) for n in range(28)
    ]
    one_by_one = sum(tax_report(day, basis="days").report.totals.receipts for day in days)
    assert one_by_one == tax_report(FEBRUARY, basis="days").report.totals.receipts
    assert one_by_one > 0


def test_cash_falls_into_the_period_of_the_first_bag_at_its_read_or_later(
    florida: Machine, owner: Person
) -> None:
    """Bags at odd moments, some just before their visit's read, beside a count line by line."""
    sales, at = Sales(florida, price=135), local(2026, 1, 20, 6)
    sales.read(at)
    sealed, reads = [], []
    for step in range(14):
        at += timedelta(days=2, hours=5 * (step % 4))
        cash, cards = 3 + step, 2 * (step % 3)
        sales.read(at, cash_1=cash, card_2=cards)
        reads.append((at, cash, cards))
        if step % 3 == 0:  # at the visit, or long before it: then the next bag takes the cash
            sealed.append(at - timedelta(hours=(1, 2, 3)[step // 3 % 3]))
    for number, moment in enumerate(sealed):
        seal(machine=florida, seal_number=f"L-{number}", sealed_at=moment, actor=owner, now=at)

    def expected(period: Period) -> Decimal:
        units = 0
        for moment, cash, cards in reads:
            first = min((one for one in sealed if one >= moment - timedelta(hours=2)), default=None)
            units += cash * (first is not None and period.since <= first < period.until)
            units += cards * (period.since <= moment < period.until)
        return units * Decimal("1.35")

    edges = [date(2026, 1, 15), date(2026, 2, 1), date(2026, 2, 9), date(2026, 2, 20)]
    periods = [Period(one, to) for n, one in enumerate(edges) for to in edges[n + 1 :]]
    found = {one: tax_report(one, basis="collection").report.totals.receipts for one in periods}
    assert found == {one: expected(one) for one in periods}
    assert len(set(found.values())) > 3


def test_how_a_machine_is_paid_decides(world: World, owner: Person) -> None:
    site = world.site("Mill Yard", state="NC")
    tax_rules.load_packs(states=["NC"], actor=owner, now=world.now)
    rate("NC", "state", "0.0675", owner, world.now)
    machine = machine_at(world, "LOB-9", site, drinks(world))
    machine.ways_of_paying.create(takes="cashless", starts_on=date(2026, 2, 11))
    sales = Sales(machine)
    sales.read(local(2026, 2, 1, 0))
    sales.read(local(2026, 2, 21, 0), card_1=800)
    found = tax_report(FEBRUARY).report
    assert {line.rule: line.split.tax for line in found.lines} == {
        "nc-coin": Decimal("23.63"),
        "nc-cashless": Decimal("47.25"),
    }


def test_a_line_leads_to_its_intervals_and_machines(florida: Machine) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 12, 9), cash_1=3)
    sales.read(local(2026, 2, 20, 9), cash_1=5, card_2=2)
    found = tax_report(FEBRUARY)
    soda = next(line for line in found.report.lines if line.code == "soft_drink")
    assert machines_of_line(soda) == {florida.pk: Decimal("14.00")}
    held = line_of_machine(soda, florida.pk, FEBRUARY, basis="read", rounding=found.report.rounding)
    assert [part.units for part in held.parts] == [5, 3]
    assert held.receipts == soda.split.receipts
    assert held.parts[0].sale.interval.to_read.machine == florida
    parts = tax_of_machines(FEBRUARY)
    assert parts[florida.pk].tax == found.report.totals.tax
    assert parts[florida.pk].receipts == Decimal("17.50")


def test_what_no_read_tells_is_said(florida: Machine) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 2, 2, 9))
    sales.read(local(2026, 2, 12, 9), cash_1=3)
    sales.read(local(2026, 2, 20, 9), cash_1=5)
    SaleInterval.objects.filter(paid_units=5).update(paid_minor=None)
    made = tax_report(FEBRUARY, basis="read")
    assert made.report.totals.receipts == Decimal("5.25")
    assert any(said.startswith("1 lines tell how many") for said in made.report.said)
    florida.intervals.filter(paid_units=3).update(exponent=0)
    made = tax_report(FEBRUARY, basis="read")
    assert made.report.totals.receipts == 0
    assert any(said.startswith("1 intervals are in another currency") for said in made.report.said)


def test_queries_do_not_grow(
    florida: Machine, world: World, owner: Person, django_assert_max_num_queries: object
) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 2, 2, 9))
    for day in range(3, 20):
        sales.read(local(2026, 2, day, 9), cash_1=3)
    with django_assert_max_num_queries(28):  # type: ignore[operator]
        tax_report(FEBRUARY)


def test_a_return_is_frozen_and_a_late_read_amends_it(
    florida: Machine, world: World, owner: Person
) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=100)
    preview = tax_report(JANUARY, state="FL")
    filed = filing.file_period(
        state="FL",
        period=JANUARY,
        actor=owner,
        now=local(2026, 2, 5, 9),
        seen=filing.digest_of(preview),
    )
    assert (filed.receipts, filed.tax) == (Decimal("175.00"), Decimal("11.85"))
    assert recomputed(filed).is_same
    assert digest(inputs_of(filed)) == filed.digest
    assert since_filed(filed).is_same
    with pytest.raises(Unable, match="nothing of"):
        filing.amend(filing=filed, actor=owner, now=world.now, note="to see")
    # A read of January that reaches the business in February.
    sales.read(local(2026, 1, 30, 9), received=local(2026, 2, 20, 9), cash_1=40)
    changes = since_filed(filed)
    assert not changes.is_same
    assert changes.receipts == Decimal("70.00")
    assert [read.received_at for read in changes.reads] == [local(2026, 2, 20, 9)]
    amended = filing.amend(
        filing=filed, actor=owner, now=local(2026, 2, 21, 9), note="a read came late"
    )
    filed.refresh_from_db()
    assert filed.receipts == Decimal("175.00")
    assert (amended.amends, amended.receipts) == (filed, Decimal("245.00"))
    assert standing_filing("FL", JANUARY) == amended
    with pytest.raises(Unable, match="amended meanwhile"):
        filing.amend(filing=filed, actor=owner, now=world.now, note="again")


def test_what_cannot_be_filed(florida: Machine, world: World, owner: Person) -> None:
    sales = Sales(florida)
    sales.read(local(2026, 1, 2, 9))
    sales.read(local(2026, 1, 12, 9), cash_1=1)
    given = {"state": "FL", "actor": owner, "now": world.now}
    with pytest.raises(Unable, match="books have changed"):
        filing.file_period(period=JANUARY, seen="0" * 64, **given)
    future = Period(date(2099, 1, 1), date(2099, 4, 1))
    with pytest.raises(Unable, match="not over yet"):
        filing.file_period(period=future, **given)
    filing.file_period(period=JANUARY, **given)
    with pytest.raises(Unable, match="amend it"):
        filing.file_period(period=JANUARY, **given)


def test_filings_are_never_changed(florida: Machine, world: World, owner: Person) -> None:
    from django.db import DatabaseError, transaction

    filed = filing.file_period(state="FL", period=JANUARY, actor=owner, now=world.now)
    for change in (
        lambda: Filing.objects.filter(pk=filed.pk).update(tax=0),
        lambda: Filing.objects.filter(pk=filed.pk).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


def test_due_dates(world: World, owner: Person) -> None:
    tax_rules.save_duty(
        changes={
            "state": "FL",
            "every": "quarter",
            "due_day": 31,
            "first_period": date(2025, 7, 1),
        },
        actor=owner,
        now=world.now,
    )
    found = due_periods(day=date(2026, 3, 2))
    assert [(one.period.starts_on, one.due_on) for one in found] == [
        (date(2026, 1, 1), date(2026, 4, 30)),
        (date(2025, 10, 1), date(2026, 1, 31)),
        (date(2025, 7, 1), date(2025, 10, 31)),
    ]


def test_editing_a_rule_keeps_the_old_one(florida: Machine, world: World, owner: Person) -> None:
    old = TaxRule.objects.get(key="fl-food")
    data = {**old.data, "title": "ours", "begins": "2026-02-01"}
    new = tax_rules.save_rule(
        data=data, why="the county wrote", actor=owner, now=world.now, old=old
    )
    old.refresh_from_db()
    assert old.replaced_by == new
    assert old.data["title"].startswith("Florida")
    assert new.rule.title == "ours"
    with pytest.raises(Unable, match="replaced or removed"):
        tax_rules.save_rule(data=data, why="again", actor=owner, now=world.now, old=old)
    with pytest.raises(Unacceptable) as refused:
        tax_rules.save_rule(
            data={**data, "shape": "share_included"}, why="x", actor=owner, now=world.now, old=new
        )
    assert "share" in refused.value.fields
    # What was edited stays as it is when the pack is taken in again.
    assert tax_rules.load_packs(states=["FL"], actor=owner, now=world.now) == []


FILE = b"12,45,12,0.06,0.06,0,0,20200101,29991231\n12,00,00011,0.01,0.01,0,0,20200101,20260331\n"
NEXT = b"12,00,00011,0.015,0.015,0,0,20260401,29991231\n"


def test_rate_files(world: World, owner: Person) -> None:
    first = tax_rules.load_rate_file(name="FLR1", raw=FILE, actor=owner, now=world.now)
    assert (first.new, first.jurisdictions) == (2, 2)
    tax_rules.load_rate_file(name="FLR2", raw=NEXT, actor=owner, now=world.now)
    county = Rate.objects.filter(jurisdiction__code="FL-00-00011").order_by("begins_on")
    assert [(one.general, one.begins_on, one.ends_on) for one in county] == [
        (Decimal("0.0100000"), date(2020, 1, 1), date(2026, 4, 1)),
        (Decimal("0.0150000"), date(2026, 4, 1), None),
    ]
    assert bytes(RateFile.objects.get(name="FLR1").raw) == FILE
    with pytest.raises(Unable, match="was loaded on"):
        tax_rules.load_rate_file(name="again", raw=FILE, actor=owner, now=world.now)
    with pytest.raises(Unacceptable, match="line 1"):
        tax_rules.load_rate_file(name="bad", raw=b"12,45\n", actor=owner, now=world.now)
    other = FILE.replace(b"0.06,0.06", b"0.07,0.07")
    with pytest.raises(Unable, match="stands; the file has"):
        tax_rules.load_rate_file(name="other", raw=other, actor=owner, now=world.now)
    assert RateFile.objects.count() == 2


def test_a_site_lies_in_its_own_state(florida: Machine, world: World, owner: Person) -> None:
    jersey = world.site("Dune Street", state="NJ")
    county = rate("FL-00-00012", "county", "0.01", owner, world.now)
    with pytest.raises(Unacceptable, match="is in NJ"):
        tax_rules.place_site(site=jersey, jurisdiction=county, actor=owner, now=world.now)
