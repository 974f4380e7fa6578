"""Today of whoever keeps money, duties and food: what waits, in links, and calm words when nothing
does."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from fleet.machines.models import Machine, Product, Site
from fleet.sales.actions import agreements, bags, cards
from fleet.sales.models import SettlementMapping
from office.owed import money_owed
from office.templatetags.desk import day as said_day
from people.models import Business, Person
from service.compliance.actions import recalls, temperatures
from service.compliance.actions.filing import digest_of, file_period
from service.compliance.models import FilingDuty
from service.compliance.queries.late_reads import returns_with_later_reads
from service.compliance.queries.tax import tax_report
from service.compliance.sums.gathering import Period
from tests.cast import NOW
from tests.fleet.sales.helpers import day, take
from tests.fleet.sales.meter import Meter
from tests.service.compliance.taxed import local
from tests.service.compliance.test_duties import by_hand

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
TERMS = {"shares": {"": "10"}}
CALM = "Nothing waits"


def today_of(client: Client) -> str:
    return client.get("/").content.decode()


def here() -> date:
    return timezone.localdate(timezone.now(), Business.the().time_zone)


def test_nothing_presses_on_an_accountant(
    desk: Desk, accountant: Person, dispatcher: Person
) -> None:
    page = today_of(desk(accountant))
    assert "Nothing presses." in page
    assert CALM in page
    assert "No duty is late" in page
    assert CALM not in today_of(desk(dispatcher))


def test_returns_lead_an_accountant_to_their_report(
    desk: Desk, accountant: Person, dispatcher: Person, driver: Person
) -> None:
    ends = (here().replace(day=1) - timedelta(days=1)).replace(day=1)
    last = ends - timedelta(days=1)
    starts = last.replace(day=1)
    FilingDuty.objects.create(
        state="FL", every="month", due_day=1, first_period=starts, registration="R-1"
    )
    page = today_of(desk(accountant))
    assert f"Return of FL to file, {said_day(starts)} to {said_day(last)}" in page
    assert f"state=FL&amp;starts_on={starts}&amp;ends_on={ends}" in page
    assert f"late, due {said_day(ends)}" in page
    assert "Nothing presses." not in page
    for other in (dispatcher, driver):
        assert "Return of FL" not in today_of(desk(other))


def test_a_filed_return_whose_reads_came_later_is_named(
    desk: Desk, accountant: Person, lobby: Machine
) -> None:
    placement = lobby.placements.get()
    placement.starts_at = local(2026, 1, 1)
    placement.save()
    Site.objects.filter(pk=placement.site_id).update(state="NY")
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    take(meter.sell("1", cash=4), day(5))
    period = Period(date(2026, 2, 1), date(2026, 3, 1))
    seen = digest_of(tax_report(period, state="NY"))
    filed = file_period(
        state="NY", period=period, seen=seen, actor=accountant, now=local(2026, 3, 2, 9)
    )
    assert returns_with_later_reads(day=date(2026, 4, 1)) == []
    take(meter.sell("1", cash=7), day(20), late=timedelta(days=12))
    (found,) = returns_with_later_reads(day=date(2026, 4, 1))
    assert (found.filing, found.reads) == (filed, 1)
    (line,) = money_owed(local(2026, 4, 1, 9), date(2026, 4, 1))
    assert line.what == "Filed return of NY, 1 Feb 2026 to 28 Feb 2026"
    assert line.stands == "1 read came since; see whether to amend"
    assert desk(accountant).get(line.address).status_code == 200


def test_statements_and_bags_that_wait(
    desk: Desk, accountant: Person, driver: Person, lobby: Machine
) -> None:
    site = lobby.placements.get().site
    first = (here().replace(day=1) - timedelta(days=1)).replace(day=1)
    agreements.save_agreement(
        agreement=None,
        changes={"site": site, "starts_on": first, "rhythm": "monthly", "terms": TERMS},
        actor=accountant,
        now=NOW,
    )
    bags.seal(machine=lobby, seal_number="S-1", sealed_at=NOW, actor=driver, now=NOW)
    page = today_of(desk(accountant))
    assert "Statements of commission" in page
    assert "1 site to issue" in page
    assert "Bags sealed and not received" in page
    assert "1, for longer than 2 days" in page


def test_settlements_that_do_not_match_are_told_for_the_days_they_tell_of(
    desk: Desk, accountant: Person, owner: Person, lobby: Machine
) -> None:
    meter = Meter.with_buttons("1", "2")
    take(meter, day(0))
    take(meter.sell("1", cashless=40), day(10))
    mapping: SettlementMapping = cards.save_mapping(
        mapping=None,
        changes={
            "name": "plain",
            "date_column": "day",
            "amount_column": "gross",
            "terminal_column": "terminal",
        },
        actor=owner,
        now=NOW,
    )
    assert "Settlements of cards" not in today_of(desk(accountant))
    raw = b"day,gross,terminal\n2026-02-06,99.00,T-9\n"
    cards.take_in(name="f.csv", raw=raw, mapping=mapping, actor=accountant, now=NOW)
    page = today_of(desk(accountant))
    assert "1 line without a machine" in page
    assert "1 machine settled otherwise than sold" in page


def test_the_desk_sees_counts_of_duties_locks_and_recalls(
    desk: Desk, owner: Person, dispatcher: Person, driver: Person, lobby: Machine
) -> None:
    by_hand(owner, title="Permit", due_on=here() - timedelta(days=1))
    by_hand(owner, title="Label", due_on=here() + timedelta(days=3))
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    temperatures.lock_by_hand(
        machine=lobby, what="plug was out", at=timezone.now(), actor=driver, now=timezone.now()
    )
    recalls.save(
        changes={"product": Product.objects.get(name="Tea"), "reason": "glass"},
        actor=owner,
        now=NOW,
    )
    for person in (owner, dispatcher):
        page = today_of(desk(person))
        assert "1 late, 1 due within 30 days" in page, person
        assert "1 machine until serviced and restocked" in page, person
        assert "1 open" in page, person
        for link in ("/compliance/duties/", "/compliance/temperatures/", "/compliance/recalls/"):
            assert f'<a href="{link}">' in page, link
    assert "due within 30 days" not in today_of(desk(driver))


def test_questions_do_not_grow_with_what_waits(
    desk: Desk, accountant: Person, driver: Person, lobby: Machine
) -> None:
    client = desk(accountant)

    def asked() -> int:
        today_of(client)
        with CaptureQueriesContext(connection) as found:
            today_of(client)
        return len(found)

    FilingDuty.objects.create(
        state="FL", every="month", due_day=20, first_period=date(2026, 1, 1), registration=""
    )
    bags.seal(machine=lobby, seal_number="S-1", sealed_at=NOW, actor=driver, now=NOW)
    few = asked()
    FilingDuty.objects.create(
        state="OH", every="month", due_day=20, first_period=date(2026, 1, 1), registration=""
    )
    for number in range(2, 6):
        bags.seal(machine=lobby, seal_number=f"S-{number}", sealed_at=NOW, actor=driver, now=NOW)
    assert asked() == few
