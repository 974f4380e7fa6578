"""The live service held against its own description, with generated requests of every kind.

No answer is a fault of ours, and none has a status, a content type, a header or a shape that the
description does not know. Half of the requests are aimed at rows that exist, or they would all end
at 404 and 422. The seed is fixed, so a failure comes again.
"""

from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from itertools import cycle
from typing import Any

import pytest
import schemathesis
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from PIL import Image
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from fleet.demand.actions import rules
from fleet.demand.actions import runs as refits
from fleet.demand.actions.refit import fit_chunk
from fleet.demand.models import ColumnDemand
from fleet.inventory.actions import orders, places, stocktakes
from fleet.inventory.models import Lot
from fleet.machines.models import Column, DepthProgram, Machine, Product
from fleet.sales.actions import bags, bankings, floats
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.models import EpochDecision, EventMeaning, MachineInterval, SaleInterval
from people.actions import notices, tokens
from people.models import AuditEntry, Person
from people.roles import Role
from service.compliance.actions import (
    duty_rules,
    measured,
    recalls,
    temperatures,
)
from service.compliance.actions import evidence as compliance_evidence
from service.runs.actions import keeping, plans
from service.runs.queries.calendar import Calendar
from service.tickets.actions import agreements, attachments, reporting, webhooks
from service.tickets.models import Cause, Refund, Symptom, WebhookDelivery
from service.upkeep.actions import calendars, work
from service.upkeep.actions import plans as upkeep_plans
from service.upkeep.models import DueWork
from service.watch.actions import looking
from service.watch.actions import rules as watching
from service.watch.models import Finding
from tests.api.rows_of_money import agreed, taxed
from tests.cast import join
from tests.fleet.inventory.shop import Shop
from tests.fleet.sales.meter import Meter
from tests.live import Live
from tests.service.runs.roadwork import RoadWork
from tests.world import World

EXAMPLES = 6
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]


@pytest.fixture
def bearers(owner: Person) -> Iterator[str]:
    """Several owners' tokens in turn, so that nobody is held back for asking too much."""
    owners = [owner, *(join(f"{name} Spare", Role.OWNER) for name in ("Una", "Duo", "Tria"))]
    return cycle(
        tokens.issue(person=one, name="prober", actor=one, now=timezone.now())[1] for one in owners
    )


@pytest.fixture
def rows(lobby: Machine, world: World, work: RoadWork, owner: Person) -> dict[str, int]:
    """A row of every noun, by the name that paths and bodies call it."""
    driver = work.driver
    token, _ = tokens.issue(person=driver, name="phone", actor=driver, now=timezone.now())
    cola, tea = (
        Product.objects.get(name=name, set_ups__column__machine=lobby) for name in ("Cola", "Tea")
    )
    column = world.column(lobby, "1")
    changeover = world.planned(column, tea)
    meter = Meter.with_buttons("1", "2")
    start = (timezone.now() - timedelta(days=3)).replace(tzinfo=None)
    first = meter.sell("1", cash=40).read(start)
    meter.events = ["EA2*EJB_12*1*3**1", "EA1*EJB_12*20260313*193011*0"]
    second = meter.new_board("ZZZ9002").sell("1", cash=4).read(start + timedelta(days=1))
    files = [ReceivedFile("a.dts", first), ReceivedFile("b.dts", second)]
    outcomes = receive(files=files, source="api", actor=owner, now=timezone.now())
    interval = MachineInterval.objects.get()
    chart = {"position": column.position, "package": tea.package, "source": "label", "deep": 1}
    return {
        "kinds": lobby.kind_id,
        "positions": column.position_id,
        "packages": tea.package_id,
        "products": tea.pk,
        "sites": lobby.placements.get().site_id,
        "machines": lobby.pk,
        "columns": column.pk,
        "set-ups": column.set_ups.get().pk,
        "chart-entries": tea.package.chart.create(**chart, front_setting=3).pk,
        "changeover-plans": changeover.plan_id,
        "changeovers": changeover.pk,
        "people": driver.pk,
        "tokens": token.pk,
        "reads": outcomes[0].read_id or 0,
        "machine-intervals": interval.pk,
        "sale-intervals": SaleInterval.objects.order_by("pk")[0].pk,
        "event-meanings": EventMeaning.objects.order_by("pk")[0].pk,
        "epoch-decisions": EpochDecision.objects.order_by("pk").values_list("pk", flat=True).first()
        or 1,
        **_runs(work),
        **_promises(lobby, owner),
        **_watched(lobby, owner),
        **_upkeep(lobby, owner),
        **_measured(lobby, owner),
        **taxed(lobby, owner),
        **agreed(lobby, owner),
        **_owed(tea, lobby, owner),
        **_tickets(lobby, owner),
        **_demand(lobby, owner),
        # As bodies and queries call them
        "kind": lobby.kind_id,
        "package": tea.package_id,
        "product": cola.pk,
        "old": cola.pk,
        "new": tea.pk,
        "site": lobby.placements.get().site_id,
        "machine": lobby.pk,
        "column": Column.objects.get(machine=lobby, position__label="3").pk,
        "position": column.position_id,
        "program": DepthProgram.objects.order_by("pk")[0].pk,
        **_buying(world),
    }


def _watched(machine: Machine, owner: Person) -> dict[str, int]:
    """What the event of the last read raised, a rule for its kind, and cash on its way."""
    now = timezone.now()
    look = looking.look(now=now, actor=owner)
    rule = watching.save_rule(
        changes={"kind": "event", "symptom": Symptom.objects.get(code="other")},
        actor=owner,
        now=now,
    )
    bag = bags.seal(seal_number="S-1", machine=machine, sealed_at=now, actor=owner, now=now)
    given: dict[str, Any] = {"actor": owner, "now": now}
    gone = bags.seal(seal_number="S-2", machine=machine, sealed_at=now, **given)
    bags.count_bag(bag=gone, amount=Decimal(9), counted_at=now, **given)
    slip = bankings.bank(bags=[gone], slip_number="1", amount=Decimal(9), banked_at=now, **given)
    given |= {"amount": Decimal(5), "at": now}
    fill = floats.fill_tubes(machine=machine, way="put_in", **given)
    line = floats.move_float(site=machine.placements.get().site, what="put_in", **given)
    return {
        "bankings": slip.pk,
        "tube-fills": fill.pk,
        "float-lines": line.pk,
        "findings": Finding.objects.filter(kind="event")[0].pk,
        "looks": look.pk,
        "watch-rules": rule.pk,
        "bags": bag.pk,
    }


def _demand(machine: Machine, owner: Person) -> dict[str, int]:
    """A fit whose every part is done, and a day marked as unusual."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    fit = refits.start(**given)
    for part in refits.due(now=timezone.now()):
        fit_chunk(chunk_id=part, clock=timezone.now)
    day = rules.mark_day(
        day=timezone.now().date() + timedelta(days=9), part=Decimal("0.5"), **given
    )
    return {
        "column-demands": ColumnDemand.objects.filter(column__machine=machine)[0].pk,
        "fit-runs": fit.pk,
        "machine-needs": machine.pk,
        "machine-changes": machine.pk,
        "earning-changes": machine.pk,
        "unusual-days": day.pk,
    }


def _buying(world: World) -> dict[str, int]:
    """A supplier, a draft and what came without an order, and a count of it."""
    shop = Shop(world, number=9)
    receipt = shop.receives(shop.came(shop.cola, 4000), shop.came(shop.tea, 900, code="K7"))
    given: dict[str, Any] = {"actor": world.owner, "now": world.now}
    wanted = [orders.Wanted(shop.cola, 2)]
    draft = orders.draft(supplier=shop.supplier, place=shop.warehouse, lines=wanted, **given)
    found = [stocktakes.Found(product=shop.cola, counted=3990)]
    count = stocktakes.take_stock(place=shop.warehouse, found=found, counted_at=world.now, **given)
    return {
        "stock-places": shop.warehouse.pk,
        "stock-movements": receipt.movement_id or 0,
        "stock-counts": count.pk,
        "suppliers": shop.supplier.pk,
        "supplier-items": shop.supplier.items.get(product=shop.tea).pk,
        "orders": draft.pk,
        "receipts": receipt.pk,
        "supplier": shop.supplier.pk,
        "place": shop.warehouse.pk,
        "from_place": shop.warehouse.pk,
        "to_place": places.truck("Van 9").pk,
        "lot": Lot.objects.get(code="K7", product=shop.tea).pk,
        "order": draft.pk,
    }


def _tickets(machine: Machine, owner: Person) -> dict[str, int]:
    """An open ticket with a picture and a refund that somebody waits for."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    symptom = Symptom.objects.get(code="coins")
    wanted = reporting.Wanted(Decimal("1.75"), Refund.Method.CASH)
    made = reporting.report(machine=machine, symptom=symptom, source="host", refund=wanted, **given)
    other = reporting.report(machine=machine, symptom=symptom, source="host", **given).ticket
    picture = BytesIO()
    Image.new("RGB", (8, 8)).save(picture, "PNG")
    added = attachments.add(ticket=made.ticket, name="a.png", raw=picture.getvalue(), **given)
    refund = made.ticket.refunds.get()
    return {
        "tickets": made.ticket.pk,
        "road/tickets": made.ticket.pk,
        "road/machines": machine.pk,
        "attachments": added.pk,
        "refunds": refund.pk,
        "symptoms": symptom.pk,
        "causes": Cause.objects.order_by("pk")[0].pk,
        "ticket": made.ticket.pk,
        "symptom": symptom.pk,
        "cause": Cause.objects.order_by("pk")[0].pk,
        "join": other.pk,
        "into": other.pk,
        "to": owner.pk,
    }


def _upkeep(machine: Machine, owner: Person) -> dict[str, int]:
    """A plan with its open turn, one that was done, a machine's own terms, and a calendar."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    plan = upkeep_plans.save_plan(
        changes={"name": "Motors", "trigger": "days", "every_days": 30, "checklist": ["Turn"]},
        **given,
    )
    own = upkeep_plans.save_own_terms(
        plan=plan, machine=machine, changes={"every_days": 20, "why": "dust"}, **given
    )
    done = work.done(
        plan=plan,
        machine=machine,
        answers=[work.Answer("Turn", work.DONE)],
        readings=[work.Taken("room_c", Decimal(21))],
        at=timezone.now(),
        **given,
    )
    address, _ = calendars.make(person=owner, name="Wall", shows="all", **given)
    return {
        "maintenance-plans": plan.pk,
        "maintenance-terms": own.pk,
        "due-work": DueWork.objects.filter(plan=plan, state=DueWork.State.OPEN)[0].pk,
        "maintenance-done": done.pk,
        "calendar-addresses": address.pk,
    }


def _owed(product: Product, machine: Machine, owner: Person) -> dict[str, int]:
    """A duty of a rule with its evidence, limits of a state, a machine locked, and a recall."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    product.kept_cold_or_hot = True
    product.save()
    rule = duty_rules.save_rule(
        changes={
            "kind": "notice",
            "subject": "machine",
            "title": "Label",
            "said": "Name on the machine",
            "authority": "The department",
            "citation": "Rule 1",
            "status": "read",
        },
        **given,
    )
    out = BytesIO()
    Image.new("RGB", (8, 8)).save(out, format="PNG")
    proof = compliance_evidence.add(
        compliance_evidence.GivenFile("label.png", out.getvalue()), **given
    )
    limits = temperatures.save_limits(
        changes={
            "state": "OH",
            "cold_most_c": Decimal(5),
            "cold_minutes": 30,
            "hot_least_c": Decimal(60),
            "hot_minutes": 120,
            "citation": "county code",
            "status": "memory",
        },
        **given,
    )
    lock = temperatures.lock_by_hand(
        machine=machine, what="plug was out", at=timezone.now(), **given
    )
    recall = recalls.save(changes={"product": product, "reason": "glass found"}, **given)
    return {
        "duty-rules": rule.pk,
        "duties": rule.duties.get(machine=machine).pk,
        "evidence": proof.pk,
        "temperature-limits": limits.pk,
        "food-locks": lock.pk,
        "recalls": recall.pk,
    }


def _measured(machine: Machine, owner: Person) -> dict[str, int]:
    """A check of access, an energy reading, and the machine's calorie sign."""
    now = timezone.now()
    given: dict[str, Any] = {"machine": machine, "actor": owner, "now": now}
    check = measured.measure_access(
        parts=[measured.PartMeasured("coin_slot", 1100)],
        approach="side",
        measured_at=now,
        **given,
    )
    reading = measured.measure_energy(
        starts_at=now - timedelta(days=2), ends_at=now, kwh=Decimal(7), **given
    )
    return {
        "access-checks": check.pk,
        "energy-readings": reading.pk,
        "calorie-signs": machine.pk,
    }


def _promises(machine: Machine, owner: Person) -> dict[str, int]:
    """A promise of a site, a day closed, a webhook with a message for it, and a notice."""
    given: dict[str, Any] = {"actor": owner, "now": timezone.now()}
    site = machine.placements.get().site
    agreed = {"site": site, "urgency": "down", "kind": "working_hours", "amount": 4}
    heard = {"name": "x", "url": "https://hooks.example.org/", "events": ["ticket.late"]}
    target = webhooks.save_target(changes=heard, **given)
    sent = WebhookDelivery.objects.create(
        target=target,
        message="msg_1",
        event="ticket.late",
        body="{}",
        made_at=timezone.now(),
        next_at=timezone.now(),
    )
    (told,) = notices.tell(people=[owner], key="x", subject="x", text="x", now=timezone.now())
    return {
        "promise-rules": agreements.save_rule(changes=agreed, **given).pk,
        "closed-days": agreements.close_day(day=timezone.now().date(), why="x", **given).pk,
        "webhooks": target.pk,
        "webhook-deliveries": sent.pk,
        "notices": told.pk,
        "target": target.pk,
    }


def _runs(work: RoadWork) -> dict[str, int]:
    """A run on the road, with a plan of the day after, and what both stand on."""
    today = timezone.now().date()
    hours = {"starts_at": timezone.now(), "ends_at": timezone.now() + timedelta(hours=9)}
    run = work.run(date=today, now=timezone.now(), **hours)
    work.start(run, timezone.now())
    work.stock(work.cola, 5000)
    stop = work.stop(run)
    given: dict[str, Any] = {"actor": work.owner, "now": timezone.now()}
    agreed = {"machine": work.machines[0], "every_days": 3}
    off = keeping.add_day_off(
        profile=work.profile, date=today + timedelta(days=40), why="x", **given
    )
    line = run.load_lines.create(product=work.cola, basis="service_level", wanted=9)
    # Nobody drives on a holiday, whichever day the tests are run on.
    ahead = (today + timedelta(days=number) for number in range(1, 11))
    day = next(one for one in ahead if Calendar(one, one).duty(one).on)
    plan = plans.plan_day(date=day, effort=20, **given)
    return {
        "depots": work.depot.pk,
        "vehicles": work.vehicle.pk,
        "drivers": work.profile.pk,
        "days-off": off.pk,
        "working-days": keeping.work_on(date=today + timedelta(days=41), why="x", **given).pk,
        "service-agreements": keeping.save_agreement(changes=agreed, **given).pk,
        "day-plans": plan.pk,
        "runs": run.pk,
        "stops": stop.pk,
        "road/runs": run.pk,
        "road/stops": stop.pk,
        "run": run.pk,
        "stop": stop.pk,
        "line": line.pk,
        "plan": plan.pk,
        "depot": work.depot.pk,
        "vehicle": work.vehicle.pk,
    }


def aimed(value: Any, rows: dict[str, int], name: str = "") -> Any:
    """The same body with ids of rows that exist."""
    if isinstance(value, dict):
        return {key: aimed(inner, rows, key) for key, inner in value.items()}
    if isinstance(value, list):
        return [aimed(inner, rows, name) for inner in value]
    is_id = name in rows and isinstance(value, int) and not isinstance(value, bool)
    return rows[name] if is_id else value


def probed(operation: Any, rows: dict[str, int], bearers: Iterator[str]) -> int:
    """Ask one operation many times; how often. Raises what the checks found."""
    noun = operation.path.removeprefix("/api/v1/").split("/{id}")[0]
    meant = operation.as_strategy(generation_mode=GenerationMode.POSITIVE)
    wild = operation.as_strategy(generation_mode=GenerationMode.NEGATIVE)
    asked = 0

    @seed(20260302)
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=(Phase.generate,),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=st.one_of(meant, meant, wild), aim=st.booleans())
    def probe(case: Any, aim: bool) -> None:
        nonlocal asked
        if aim:
            if "id" in (case.path_parameters or {}):
                case.path_parameters["id"] = rows[noun]
            case.body = aimed(case.body, rows)
            case.query = aimed(dict(case.query or {}), rows)
        asked += 1
        headers = {"Authorization": f"Bearer {next(bearers)}"}
        case.call_and_validate(checks=CHECKS, headers=headers, timeout=30)

    probe()
    return asked


@pytest.mark.django_db(transaction=True)
def test_the_live_service_answers_as_described(
    live: Live, rows: dict[str, int], bearers: Iterator[str]
) -> None:
    schema = schemathesis.openapi.from_url(f"{live.url}/api/v1/openapi.json")
    schema.config.update(base_url=live.url)
    failures: list[str] = []
    asked = 0
    for result in schema.get_all_operations():
        operation = result.ok()
        try:
            asked += probed(operation, rows, bearers)
        except FailureGroup as group:
            failures += [f"{operation.label}: {one}" for one in group.exceptions]
    assert not failures, f"{len(failures)} failures:\n\n" + "\n\n".join(failures)
    assert asked > 500
    # The probing really changed things, and left its trail.
    assert AuditEntry.objects.filter(actor__name__endswith="Spare").exists()
