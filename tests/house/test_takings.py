"""A driver sees no takings through any door; an accountant changes no ticket.

What customers paid stands in reads, intervals, bags and totals. Every answer that a driver can get
is searched for each of those amounts, as text and as minor units.
"""

import io
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from itertools import product
from typing import Any

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db.models import Sum
from django.http import HttpResponse
from django.test import Client
from django.utils import timezone
from rest_framework.test import APIClient

from fleet.sales.actions.bags import count_bag, seal
from fleet.sales.actions.receive import ReceivedFile, receive
from fleet.sales.models import AuditRead, BagCount, MachineInterval, SaleInterval
from people import policy
from people.models import Person
from people.roles import Role
from service.tickets.actions import reporting
from service.tickets.models import Symptom, Ticket
from service.watch.actions.findings import to_ticket
from service.watch.models import Finding
from tests.cast import Cast
from tests.fleet.demand.sellers import fit_all
from tests.fleet.sales.meter import Meter
from tests.house.doors import WRITES, Route, routes
from tests.service.runs.roadwork import RoadWork

pytestmark = pytest.mark.django_db
OURS = ("fleet.", "service.", "people.")
UNASKED = {"AuditEntry", "Business"}
NO_SUCH_ROW = "987654321"
LEAST_TELLING_MINOR = 1000
"""Smaller amounts are prices too, and say nothing."""
WHERE_TAKINGS_STAND = {
    "api:read-detail",
    "api:machine-interval-list",
    "api:machine-interval-detail",
    "api:sale-interval-list",
    "api:sale-interval-detail",
    "office:machine",
    "office:read",
    "office:bag",
}
"""Doors at which others find them, so that the search is known to find."""
OPENED = {
    "api:column-demand-detail",
    "api:machine-detail",
    "api:read-list",
    "api:road-day",
    "api:run-detail",
    "api:stop-detail",
    "api:ticket-detail",
    "office:column",
    "office:column-demand",
    "office:machine",
    "office:needs",
    "office:needs-export",
    "office:product",
    "office:read",
    "office:reads",
    "office:road-run",
    "office:road-stop",
    "office:run",
    "office:site",
    "office:stock-place",
    "office:ticket",
    "office:today",
}
"""Doors that open to the driver of the test with something behind them."""


@dataclass
class Sold:
    """Machines that sold for amounts like no other figure, and one more file of such sales."""

    work: RoadWork
    meter: Meter
    next_file: bytes

    def amounts(self) -> set[int]:
        """Every amount taken, in cents, as the rows keep it."""
        found: set[int] = set()
        for model in (AuditRead, MachineInterval, SaleInterval):
            for field in model._meta.concrete_fields:
                if field.name.endswith("_minor"):
                    kept = list(model._default_manager.values_list(field.name, flat=True))
                    found |= {one for one in kept if one is not None}
        of_columns = SaleInterval.objects.order_by().values("column")
        found |= {row["taken"] for row in of_columns.annotate(taken=Sum("paid_minor"))}
        found.add(MachineInterval.objects.aggregate(taken=Sum("paid_minor"))["taken"])
        found |= {int(one * 100) for one in BagCount.objects.values_list("amount", flat=True)}
        return {one for one in found if one and one >= LEAST_TELLING_MINOR}


@pytest.fixture
def sold(work: RoadWork, driver: Person, accountant: Person) -> Sold:
    now = timezone.now()
    work.out()
    machine = work.machines[0]
    meter = Meter.with_buttons("1", "2", asset=machine.asset_tag, price=187)
    start = (now - timedelta(days=9)).replace(tzinfo=None)
    files = [
        meter.sell("1", cash=41 + day, cashless=13)
        .sell("2", cash=29, cashless=9 + day)
        .read(start + timedelta(days=day))
        for day in (0, 2, 4)
    ]
    given = [ReceivedFile(f"{number}.dts", data) for number, data in enumerate(files)]
    receive(files=given, source="api", actor=driver, now=now)
    meter.sell("1", cash=57, cashless=7)
    bag = seal(
        seal_number="S-1",
        machine=machine,
        sealed_at=now - timedelta(days=1),
        actor=driver,
        now=now - timedelta(days=1),
    )
    count_bag(bag=bag, amount=Decimal("131.37"), counted_at=now, actor=accountant, now=now)
    reporting.report(
        machine=machine,
        symptom=Symptom.objects.get(code="coins"),
        source="host",
        actor=work.owner,
        now=now,
    )
    fit_all(work.owner, now)
    return Sold(work, meter, meter.read(start + timedelta(days=6)))


def texts(answer: HttpResponse) -> str:
    """What an answer says; of a workbook all that its parts say."""
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if body[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(body)) as book:
            body = b"\n".join(book.read(name) for name in book.namelist())
    return body.decode("utf-8", "replace")


def told(text: str, amounts: set[int]) -> list[str]:
    """The amounts that a text tells: `131.37`, `1,131.37`, or 13137 alone."""
    decimals = re.findall(r"(?<![\w.,])\d[\d,]*\.\d\d(?!\d)", text)
    whole = re.findall(r"(?<![\w.,:#/-])\d{4,9}(?![\w.,:/-])", text)
    found = {int(re.sub(r"\D", "", one)) for one in decimals} | {int(one) for one in whole}
    return [f"{one / 100:.2f}" for one in sorted(found & amounts)]


def keys(route: Route) -> list[str]:
    """The keys that an address may ask for: at the API those of the row it is of, else any."""
    of = getattr(route.view, "described_by", None)
    found: set[int] = set()
    for model in [of] if of is not None else apps.get_models():
        if of is not None or (model.__module__.startswith(OURS) and model.__name__ not in UNASKED):
            some = model._default_manager.order_by("pk").values_list("pk", flat=True)
            found |= {key for key in some[: 9 if of else 2] if isinstance(key, int)}
    return [str(key) for key in sorted(found)]


def addresses(path: str, those: list[str]) -> Iterator[str]:
    """A path with every key in the place of the one that no row has."""
    places = path.count(NO_SUCH_ROW)
    of_each = those if places < 2 else those[:1]
    for chosen in product(of_each, repeat=places):
        filled = path
        for key in chosen:
            filled = filled.replace(NO_SUCH_ROW, key, 1)
        yield filled.replace("no-such-thing", "2026-03-02")


def walk(person: Person, browser: Client, app: APIClient) -> Iterator[tuple[str, str, str]]:
    """(route, address, text) of every answer that a person gets by looking."""
    for route in routes():
        if not policy.allows(person, policy.row_for("GET", route.name)):
            continue
        client = app if route.name.startswith("api:") else browser
        for address in addresses(route.path, keys(route)):
            answer = client.get(address)
            if answer.status_code == 200:
                yield route.name, address, texts(answer)


def test_no_answer_tells_a_driver_what_was_taken(
    sold: Sold, driver: Person, desk: Callable[..., Client], device: Callable[..., APIClient]
) -> None:
    amounts = sold.amounts()
    assert len(amounts) > 10
    leaks, opened = [], set()
    for route, address, text in walk(driver, desk(driver), device(driver)):
        opened.add(route)
        leaks += [f"{route} {address}: {one}" for one in told(text, amounts)]
    assert not leaks, "a driver is told takings:\n" + "\n".join(leaks)
    assert not OPENED - opened


def test_others_find_them_by_the_same_search(
    sold: Sold, accountant: Person, desk: Callable[..., Client], device: Callable[..., APIClient]
) -> None:
    amounts, found = sold.amounts(), set()
    wanted = {route.name: route for route in routes() if route.name in WHERE_TAKINGS_STAND}
    browser, app = desk(accountant), device(accountant)
    for name, route in wanted.items():
        for address in addresses(route.path, keys(route)):
            answer = (app if name.startswith("api:") else browser).get(address)
            if answer.status_code == 200 and told(texts(answer), amounts):
                found.add(name)
                break
    assert found == WHERE_TAKINGS_STAND


def test_a_read_handed_in_tells_its_driver_no_takings(
    sold: Sold, driver: Person, desk: Callable[..., Client], device: Callable[..., APIClient]
) -> None:
    file = SimpleUploadedFile("next.dts", sold.next_file)
    at_the_desk = desk(driver).post("/reads/upload/", {"files": [file]})
    assert at_the_desk.status_code == 200
    again = device(driver).post(
        "/api/v1/reads", sold.next_file, content_type="application/octet-stream"
    )
    assert again.status_code == 200
    amounts = sold.amounts()
    assert 57 * 187 + 7 * 187 in amounts  # what the file tells is new
    for answer in (at_the_desk, again):
        assert not told(texts(answer), amounts)


def test_a_ticket_about_cash_keeps_the_amounts_at_the_desk(
    sold: Sold, driver: Person, owner: Person, desk: Callable[..., Client]
) -> None:
    finding = Finding.objects.create(
        kind=Finding.Kind.CASH,
        machine=sold.work.machines[0],
        said="3 bags together are 40.11 short of 131.37 by the meter",
        strength=4,
        strength_said="strong",
        opened_at=timezone.now(),
        last_seen_at=timezone.now(),
    )
    ticket = to_ticket(finding=finding, actor=owner, now=timezone.now())
    page = desk(driver).get(f"/tickets/{ticket.pk}/").content.decode()
    assert "131.37" not in page
    assert "40.11" not in page
    assert "do not agree with its meter" in page


MONEY_DOORS = (
    *("bag", "banking", "card-terminal", "cash", "commission", "custody", "earning", "filing"),
    *("float", "host-float", "settlement", "statement", "tax", "tube"),
)


def test_no_door_of_money_is_a_drivers() -> None:
    """Nor one that nobody has walked yet: the names alone say what they are of."""
    asked = set()
    for route in routes():
        name = route.name.partition(":")[2]
        if not name.startswith(MONEY_DOORS):
            continue
        for method in ("GET", *WRITES):
            row = policy.row_for(method, route.name)
            if row is not None:
                closed = isinstance(row.who, frozenset) and Role.DRIVER not in row.who
                assert closed, f"{method} {route.name}"
                asked.add(name)
    assert len(asked) > 60


TICKET_DOORS = ("ticket", "road-ticket", "attachment", "symptom", "cause", "road-machine-report")
PAYS = {"api:refund-pay", "api:refund-refuse", "office:refund-end"}
"""Money back to customers is the accountant's too."""


def test_no_door_lets_an_accountant_change_a_ticket(
    sold: Sold,
    accountant: Person,
    cast: Cast,
    desk: Callable[..., Client],
    device: Callable[..., APIClient],
) -> None:
    ticket = Ticket.objects.get()
    browser, app = desk(accountant), device(accountant)
    before = Ticket.objects.values().get(pk=ticket.pk)
    asked = 0
    for route in routes():
        of = route.name.partition(":")[2]
        if not of.startswith(TICKET_DOORS) or route.name in PAYS:
            continue
        for method in WRITES:
            row = policy.row_for(method, route.name)
            if row is None:
                continue
            assert row.who in (policy.DESK, policy.ROAD, policy.OWNER), f"{method} {route.name}"
            address = route.path.replace(NO_SUCH_ROW, str(ticket.pk), 1)
            client: Any = app if route.name.startswith("api:") else browser
            answer = getattr(client, method.lower())(address)
            assert answer.status_code == 403, f"{method} {address}: {answer.status_code}"
            asked += 1
    assert asked > 20
    assert Ticket.objects.values().get(pk=ticket.pk) == before
    assert not accountant.has_role(Role.OWNER, Role.DISPATCHER, Role.DRIVER)
