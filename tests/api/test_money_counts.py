"""Lists and pages of money and compliance cost the same number of queries however long they are.

To accept another number, change `tests/query_counts.json` and say why in the commit.
"""

import json
from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from fleet.machines.actions import holdings
from fleet.machines.models import Machine
from fleet.sales.actions import agreements, bags, bankings, cards, floats, terminals
from fleet.sales.models import SettlementMapping, Statement
from people.models import Person
from service.compliance.actions import (
    duty_rules,
    duty_turns,
    filing,
    measured,
    recalls,
    tax_rules,
    temperatures,
)
from service.compliance.models import FilingDuty
from service.compliance.statements import run_statements
from service.compliance.sums.gathering import Period
from tests.api.test_query_counts import ADDRESSES, COMMITTED
from tests.callers import V1, Caller
from tests.service.compliance.taxed import Sales, drinks, local, machine_at, rate
from tests.world import World

SMALL, LARGE = 2, 7
FEBRUARY = "starts_on=2026-02-01&ends_on=2026-03-01"
DAYS = "since=2026-02-01&until=2026-03-01"
MOMENTS = "since=2026-02-01T00:00:00Z&until=2026-03-03T00:00:00Z"
QUERIES: dict[str, str] = {
    "/access-checks": "",
    "/bags": "",
    "/bankings": "",
    "/calorie-signs": "",
    "/card-terminals": "",
    "/cash-differences": MOMENTS,
    "/commission-agreements": "",
    "/custody": "",
    "/duties": "",
    "/duty-rules": "",
    "/earnings": f"by=machine&{DAYS}",
    "/energy-readings": "",
    "/filing-duties": "",
    "/filings": "",
    "/float-lines": "",
    "/food-locks": "",
    "/food-temperatures": "",
    "/host-floats": "",
    "/jurisdictions": "",
    "/rates": "",
    "/recalls": "",
    "/settlement-days": DAYS,
    "/settlement-lines": "",
    "/settlement-mappings": "",
    "/settlements": "",
    "/site-jurisdictions": "",
    "/statements": "",
    "/tax-machines": FEBRUARY,
    "/tax-reports": FEBRUARY,
    "/tax-rules": "",
    "/tube-fills": "",
    # Pages of the desk end in a stroke.
    "/bags/": "",
    "/bags/bankings/": "",
    "/bags/change/": "",
    "/bags/differences/": "",
    "/bags/waiting/": "",
    "/commission/": "",
    "/compliance/access/": "",
    "/compliance/duties/": "",
    "/compliance/energy/": "",
    "/compliance/labels/": "",
    "/compliance/recalls/": "",
    "/compliance/temperatures/": "",
    "/earnings/": "",
    "/settlements/": DAYS,
    "/tax/": "",
    "/tax/places/": "",
    "/tax/report/": f"{FEBRUARY}&state=FL&basis=",
    "/tax/rules/": "",
}


@pytest.fixture
def state(world: World, owner: Person) -> dict[str, Any]:
    """Florida with its rules, and what all machines share."""
    given: dict[str, Any] = {"actor": owner, "now": world.now}
    tax_rules.load_packs(states=["FL"], **given)
    duty_rules.load_packs(**given)
    rate("FL", "state", "0.06", owner, world.now)
    cola, spring = drinks(world)
    holdings.save_product(product=cola, changes={"kept_cold_or_hot": True}, **given)
    return {"given": given, "goods": (cola, spring)}


def grow(world: World, state: dict[str, Any], start: int, until: int) -> None:
    """So many machines, each in a county of its own, with its bag, host, settlement and papers."""
    given, cola = state["given"], state["goods"][0]
    for number in range(start, until):
        site = world.site(f"site {number}", state="FL", county=f"county {number}")
        county = rate(f"FL-00-0001{number}", "county", "0.01", world.owner, world.now)
        tax_rules.place_site(site=site, jurisdiction=county, **given)
        machine = machine_at(world, f"M-{number}", site, state["goods"])
        sold = Sales(machine)
        sold.read(local(2026, 2, 2, 9))
        sold.read(local(2026, 2, 12, 9), cash_1=10, card_2=4)
        _bank(world, machine, number, given)
        _settle(machine, number, given)
        agreements.save_agreement(
            agreement=None,
            changes={
                "site": site,
                "starts_on": date(2026, 1, 1),
                "terms": {"shares": {"": "10"}, "base": ["tax"]},
            },
            **given,
        )
        _measure(world, machine, given)
        recalls.save(changes={"product": cola, "lot_codes": f"K{number}", "reason": "x"}, **given)
        month = date(2025, 1 + number, 1)
        period = Period(month, date(2025, 2 + number, 1))
        filing.file_period(state="FL", period=period, **given)
    if not FilingDuty.objects.exists():
        tax_rules.save_duty(changes={"state": "FL", "first_period": date(2026, 1, 1)}, **given)
    run_statements(rhythm="monthly", day=date(2026, 2, 5), **given)
    duty_turns.work_out(now=world.now)


def _bank(world: World, machine: Machine, number: int, given: dict[str, Any]) -> None:
    for name in ("A", "B", "C"):
        bag = bags.seal(
            seal_number=f"{name}-{number}",
            machine=machine,
            sealed_at=local(2026, 2, 12, 9, 30),
            **given,
        )
        if name != "C":
            bags.count_bag(bag=bag, amount=Decimal(20), counted_at=local(2026, 2, 13, 9), **given)
        if name == "A":
            at, slip = local(2026, 2, 13, 10), f"D-{number}"
            bankings.bank(bags=[bag], slip_number=slip, amount=Decimal(20), banked_at=at, **given)
    at = local(2026, 2, 13, 11)
    floats.fill_tubes(machine=machine, way="put_in", amount=Decimal(5), at=at, **given)
    site = machine.placements.get().site
    floats.move_float(site=site, what="put_in", amount=Decimal(10), at=at, **given)


def _settle(machine: Machine, number: int, given: dict[str, Any]) -> None:
    columns = {"date_column": "Day", "amount_column": "Gross", "terminal_column": "Terminal"}
    mapping: SettlementMapping = cards.save_mapping(
        mapping=None, changes={"name": f"file {number}", **columns}, **given
    )
    terminals.hang_terminal(code=f"T{number}", machine=machine, starts_on=date(2026, 1, 1), **given)
    raw = f"Day,Terminal,Gross\n2026-02-05,T{number},7\n2026-02-06,lost,1\n".encode()
    cards.take_in(name=f"{number}.csv", raw=raw, mapping=mapping, **given)


def _measure(world: World, machine: Machine, given: dict[str, Any]) -> None:
    measured.measure_energy(
        machine=machine,
        starts_at=world.now - timedelta(days=10),
        ends_at=world.now,
        kwh=Decimal(39),
        **given,
    )
    part = measured.PartMeasured("coin_slot", 1200)
    measured.measure_access(
        machine=machine, parts=[part], approach="side", measured_at=world.now, **given
    )
    at = world.now - timedelta(hours=1)
    temperatures.lock_by_hand(machine=machine, what="the power failed", at=at, **given)


def counts(caller: Caller, client: Client) -> dict[str, int]:
    ask: dict[bool, Callable[[str], Any]] = {
        True: client.get,
        False: lambda path: caller.client.get(V1 + path),
    }
    found = {}
    for name, query in QUERIES.items():
        path = f"{name}?{query}" if query else name
        get = ask[name.endswith("/")]
        first = get(path)
        assert first.status_code == 200, (path, first.content[:500])
        with CaptureQueriesContext(connection) as queries:
            answer = get(path)
        if not name.endswith("/"):
            body = answer.json()
            assert body.get("items", True) if isinstance(body, dict) else body, f"{path} is empty"
        found[name] = len(queries)
    return found


@pytest.mark.django_db
def test_money_costs_the_same_however_long(
    world: World,
    owner: Person,
    state: dict[str, Any],
    as_owner: Caller,
    desk: Callable[[Person], Client],
) -> None:
    client = desk(owner)
    grow(world, state, 0, SMALL)
    small = counts(as_owner, client)
    grow(world, state, SMALL, LARGE)
    assert Statement.objects.count() == LARGE
    large = counts(as_owner, client)
    assert large == small
    committed = json.loads(COMMITTED.read_text())
    assert small == {name: committed.get(name) for name in QUERIES}
    assert set(committed) == {*ADDRESSES, *QUERIES}
