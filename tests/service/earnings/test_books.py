"""Books of a period: each part by hand, parts that add up, and what is not known said."""

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.machines.models import Machine, Site
from fleet.sales.models import (
    Agreement,
    SettlementFile,
    SettlementLine,
    SettlementMapping,
    Statement,
    StatementCorrection,
)
from people.errors import Unable, Unacceptable
from service.compute.earnings import Earned
from service.earnings import tables
from service.earnings.actions.settings import change_settings
from service.earnings.models import EarningsSettings
from service.earnings.queries.books import Books, books, machines_of_site
from service.earnings.queries.ranking import BY, By, Line, ranked, whole
from service.runs.models import RunAssumptions
from tests.cast import NOW
from tests.service.earnings.earner import COLA_COST, WEEK, Earner

pytestmark = pytest.mark.django_db
CENT = Decimal("0.01")


def of(found: Books, by: str, label: str) -> Line:
    return next(one for one in ranked(found, by) if one.label == label)  # type: ignore[arg-type]


def test_receipts_and_goods_by_hand(earner: Earner) -> None:
    line = of(books(*WEEK), "machine", "R-1")
    assert line.earned.receipts == Decimal("24.50")  # fourteen at 1.75
    assert line.earned.units == 14
    assert line.earned.costs["goods"] == 14 * COLA_COST
    cola = of(books(*WEEK), "product", "Cola")
    assert (cola.earned.receipts, cola.earned.costs["goods"]) == (Decimal("17.50"), 10 * COLA_COST)


def test_a_period_that_cuts_an_interval_takes_its_part(earner: Earner) -> None:
    # Noon to noon over two days; midnight after the first cuts off a quarter.
    first = of(books(date(2026, 3, 1), date(2026, 3, 2)), "machine", "R-1").earned
    rest = of(books(date(2026, 3, 2), date(2026, 3, 8)), "machine", "R-1").earned
    # 6.125 and 18.375, each in whole cents of its own period.
    assert (first.receipts, rest.receipts) == (Decimal("6.13"), Decimal("18.38"))


def test_another_currency_is_left_out(earner: Earner) -> None:
    earner.machine.intervals.update(currency="CAD")
    assert not any(line.earned.receipts for line in ranked(books(*WEEK), "machine"))


def test_a_move_shares_an_interval_out_by_time(earner: Earner) -> None:
    earner.move(earner.work.world.site("Mill Lane"), datetime(2026, 3, 3, 5, tzinfo=UTC))
    found = books(*WEEK)
    moved = of(found, "site", "Mill Lane").earned.receipts
    before = of(found, "site", "Hall 1").earned.receipts
    assert abs(moved - Decimal("24.50") / 4) < CENT  # midnight to noon, of two days
    assert moved + before == Decimal("24.50")


def test_a_visit_costs_its_time_and_its_way(earner: Earner) -> None:
    earner.visit(minutes=30)
    assumed = RunAssumptions.the()
    line = of(books(*WEEK), "machine", "R-1")
    run = of(books(*WEEK), "driver", "Rosa Quillfeather")
    # Out at 7:30 and back at 9:00: half an hour there and an hour besides.
    assert line.hours == Decimal("1.5")
    way = line.earned.km * assumed.cost_per_km
    assert line.earned.costs["visits"] == (Decimal("1.5") * assumed.cost_per_hour + way).quantize(
        CENT
    )
    assert run.earned.profit == line.earned.profit
    assert run.per_hour == run.earned.profit / Decimal("1.5")


def test_all_rankings_add_up_to_the_same(earner: Earner) -> None:
    earner.visit()
    earner.move(earner.work.world.site("Mill Lane"), datetime(2026, 3, 2, 5, tzinfo=UTC))
    change_settings(changes={"overhead_per_month": Decimal(31)}, actor=earner.work.owner, now=NOW)
    found = books(*WEEK)
    sums = {by: sum((one.earned for one in ranked(found, by)), Earned()) for by in BY}
    for by in BY[1:]:
        assert sums[by].receipts == sums["machine"].receipts, by
        assert sums[by].profit == sums["machine"].profit, by
    assert sums["machine"].receipts == Decimal("24.50")
    assert sums["machine"].costs["overhead"] > 0
    for by in BY:
        lines = ranked(found, by)
        cells = [
            amount for one in lines for amount in (one.earned.receipts, *one.earned.costs.values())
        ]
        assert all(amount == amount.quantize(CENT) for amount in cells), by
        assert whole(lines).earned.profit == sums["machine"].profit


@pytest.mark.parametrize("by", BY)
def test_the_last_row_of_a_file_is_the_sum_of_its_cells(earner: Earner, by: By) -> None:
    earner.visit()
    earner.move(earner.work.world.site("Mill Lane"), datetime(2026, 3, 2, 5, tzinfo=UTC))
    table = tables.earnings(ranked(books(*WEEK), by), by, ZoneInfo("UTC"))
    *rows, last = list(table.rows)
    assert last[0] == "All"
    for at, name in enumerate(table.head):
        if at < 2 or name in ("profit a driver-hour", "not known"):
            continue
        figures = [row[at] for row in rows if row[at] is not None]
        assert last[at] == (sum(figures) if figures else None), name  # type: ignore[arg-type]
    assert last[2] == Decimal("24.50")


def test_what_is_not_known_is_said_and_not_taken_as_nothing(earner: Earner) -> None:
    found = books(*WEEK)
    line = of(found, "machine", "R-1").earned
    assert line.cost("tax") is None  # no rule is entered
    assert line.cost("fees") is None  # three were paid by card, and no settlement tells of it
    assert line.cost("commission") == 0  # the site has no agreement
    assert any("No rule of tax" in one for one in found.not_known)
    earner.cola.cost = None
    earner.cola.save(update_fields=["cost"])
    found = books(*WEEK)
    assert "goods" in of(found, "machine", "R-1").earned.unknown
    assert any(one.startswith("What 10 units had cost") for one in found.not_known)


def test_one_machine_alone_says_the_same_of_itself(earner: Earner) -> None:
    earner.visit()
    alone = of(books(*WEEK, machines=[earner.machine.pk]), "machine", "R-1")
    assert alone.earned == of(books(*WEEK), "machine", "R-1").earned
    site = earner.machine.placements.get().site
    machines = machines_of_site(site.pk, *WEEK)
    assert earner.machine.pk in machines
    there = of(books(*WEEK, machines=machines), "site", site.name)
    assert there.earned == of(books(*WEEK), "site", site.name).earned
    other = next(one.pk for one in earner.work.machines if one.pk != earner.machine.pk)
    told = books(*WEEK, machines=[other]).not_known
    assert not any("Card fees" in one for one in told), "only the first took cards"


def test_books_ask_the_same_however_many_machines(earner: Earner) -> None:
    earner.visit()

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            found = books(*WEEK)
            for by in BY:
                ranked(found, by)
        return len(queries)

    asked()  # the rows of settings are made by whoever asks first
    few = asked()
    world = earner.work.world
    for number in range(4):
        world.machine(f"X-{number}", earner.machine.kind, site=world.site(f"Site {number}"))
    assert asked() == few


def test_settings_are_kept_and_refused(earner: Earner) -> None:
    owner = earner.work.owner
    kept = change_settings(changes={"cost_per_hour": Decimal("40.00")}, actor=owner, now=NOW)
    assert EarningsSettings.the().cost_per_hour == kept.cost_per_hour == 40
    with pytest.raises(Unacceptable):
        change_settings(changes={"cost_per_hour": Decimal(-1)}, actor=owner, now=NOW)
    with pytest.raises(Unable):
        change_settings(
            changes={"elasticity_least": Decimal(2), "elasticity_most": Decimal(1)},
            actor=owner,
            now=NOW,
        )


def issued_for(earner: Earner, site: Site, figures: dict[str, object]) -> Statement:
    """A statement of 31.00 for the month of March."""
    agreement = Agreement.objects.filter(site=site).first() or Agreement.objects.create(
        site=site, starts_on=date(2026, 2, 1), terms={}
    )
    return Statement.objects.create(
        number=1,
        agreement=agreement,
        site=site,
        starts_on=date(2026, 3, 1),
        ends_on=date(2026, 4, 1),
        currency="USD",
        receipts=0,
        base=0,
        commission=31,
        minimum_added=0,
        amount=31,
        carried=0,
        due=31,
        figures=figures,
        digest="0" * 64,
        issued_at=NOW,
        issued_by=earner.work.owner,
    )


def test_commission_is_that_of_statements_by_their_days(earner: Earner) -> None:
    site = earner.machine.placements.get().site
    Agreement.objects.create(site=site, starts_on=date(2026, 2, 1), terms={})
    line = of(books(*WEEK), "machine", "R-1").earned
    assert line.cost("commission") is None  # promised, and no statement tells how much
    issued_for(earner, site, {"machines": [{"machine": "R-1", "amount": "31.00"}]})
    found = books(*WEEK)
    assert of(found, "machine", "R-1").earned.cost("commission") == 7  # of a dollar a day
    assert of(found, "site", site.name).earned.cost("commission") == 7
    assert not any("Commission" in one for one in found.not_known)
    other = books(*WEEK, machines=[earner.work.machines[1].pk])
    assert all(one.earned.cost("commission") == 0 for one in ranked(other, "machine"))
    StatementCorrection.objects.create(
        statement=Statement.objects.get(),
        amount=Decimal("3.10"),
        reason="a read came late",
        at=NOW,
        by=earner.work.owner,
    )
    assert of(books(*WEEK), "machine", "R-1").earned.cost("commission") == Decimal("7.7")
    # The statement names a machine by its tag of then.
    tags = Machine.objects.filter(pk=earner.machine.pk)
    tags.update(asset_tag="R-01")
    assert of(books(*WEEK), "machine", "R-01").earned.cost("commission") is None
    tags.update(asset_tag="R-1")


def test_a_minimum_that_no_machine_earned_is_borne_by_those_that_stood_there(
    earner: Earner,
) -> None:
    site = earner.machine.placements.get().site
    issued_for(earner, site, {"machines": []})
    assert of(books(*WEEK), "site", site.name).earned.cost("commission") == 7


def test_card_fees_are_those_of_settlements(earner: Earner) -> None:
    mapping = SettlementMapping.objects.create(
        name="processor", date_column="day", amount_column="gross", terminal_column="terminal"
    )
    file = SettlementFile.objects.create(
        name="march.csv",
        raw=b"x",
        sha256="0" * 64,
        mapping=mapping,
        loaded_at=NOW,
        by=earner.work.owner,
    )
    SettlementLine.objects.create(
        file=file,
        row=2,
        machine=earner.machine,
        terminal="T1",
        day=date(2026, 3, 2),
        gross=Decimal("5.25"),
        fee=Decimal("0.31"),
        net=Decimal("4.94"),
    )
    found = books(*WEEK)
    assert of(found, "machine", "R-1").earned.cost("fees") == Decimal("0.31")
    assert sum(one.earned.cost("fees") or 0 for one in ranked(found, "product")) == Decimal("0.31")
