"""The pages of cash between the machine and the bank."""

import io
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone
from openpyxl import load_workbook

from fleet.machines.models import Machine
from fleet.sales.actions.bags import count_bag, seal
from fleet.sales.models import Bag, BagCount, Banking, CashLimits, HostFloatLine, TubeFill
from people.models import Business, Person
from tests.cast import Cast
from tests.typed import typed

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]
MINUTE = "%Y-%m-%dT%H:%M"


def now_typed() -> str:
    """Now, as the page's input has it: in the business's own time."""
    return f"{timezone.localtime(timezone.now(), Business.the().time_zone):{MINUTE}}"


@pytest.fixture
def bag(lobby: Machine, driver: Person) -> Bag:
    then = timezone.now() - timedelta(days=3)
    return seal(seal_number="A-1", machine=lobby, sealed_at=then, actor=driver, now=then)


def test_a_bag_is_received_counted_by_denomination_banked_and_confirmed(
    bag: Bag, desk: Desk, accountant: Person
) -> None:
    client = desk(accountant)
    page = client.get("/bags/waiting/").content.decode()
    assert "sealed and not received" in page
    assert "not counted" in page
    assert '<td data-th="amount" class="num">$0.00</td>' in page, "of those that nothing waits in"
    assert "A-1" in page
    answer = client.post("/bags/receive/", {"bags": [bag.pk], "at": now_typed()})
    assert answer.status_code == 302, answer.content
    assert 'name="count-after" value="0"' in client.get(f"/bags/{bag.pk}/").content.decode()
    counted = {
        "count-counted_at": now_typed(),
        "count-after": "0",
        "count-note_100": "23",
        "count-coin_25": "4",
        "count-weight_25": "56.70",
    }
    answer = client.post(f"/bags/{bag.pk}/count/", counted)
    assert answer.status_code == 302, answer.content
    assert BagCount.objects.get().amount == Decimal("26.50")
    answer = client.post(f"/bags/{bag.pk}/count/", counted)
    assert answer.status_code == 409
    page = client.get(f"/bags/{bag.pk}/").content.decode()
    assert "10 quarters by the usual weight" in page or "certain" in page
    page = client.get("/bags/bankings/").content.decode()
    assert f"{bag.pk}~26.5" in page
    values = [one.partition('"')[0] for one in page.split('value="')[1:]]
    (left,) = [one for one in values if one.startswith(f"{bag.pk}~")]
    slip = {"bags": [left], "slip_number": "77-1", "amount": "26.00", "banked_at": now_typed()}
    answer = client.post("/bags/bankings/add/", slip)
    assert answer.status_code == 422, "a slip that differs says why"
    answer = client.post("/bags/bankings/add/", {**slip, "note": "two quarters kept for change"})
    assert answer.status_code == 302
    banking = Banking.objects.get()
    answer = client.post(
        f"/bags/bankings/{banking.pk}/confirm/",
        {"confirm-amount": "25.75", "confirm-confirmed_on": now_typed()[:10]},
    )
    assert answer.status_code == 302
    page = client.get(f"/bags/bankings/{banking.pk}/").content.decode()
    assert "−$0.25" in page
    assert "confirmed with another amount" in client.get("/bags/waiting/").content.decode()
    page = client.get(f"/bags/{bag.pk}/").content.decode()
    for words in ("sealed", "received", "counted", "banked on slip 77-1", "the bank confirmed"):
        assert words in page
    assert b"77-1" in client.get("/bags/bankings/export/").content


def test_bags_for_the_bank_are_looked_for_chosen_together_and_added_up(
    bag: Bag, lobby: Machine, desk: Desk, accountant: Person, driver: Person
) -> None:
    now = timezone.now()
    other = seal(seal_number="B-2", machine=lobby, sealed_at=now, actor=driver, now=now)
    for one, amount in ((bag, "41.25"), (other, "9.50")):
        count_bag(bag=one, amount=Decimal(amount), counted_at=now, actor=accountant, now=now)
    client, address = desk(accountant), "/bags/bankings/"
    page = client.get(address).content.decode()
    assert "2 counted bags are here, $50.75 together" in page
    assert "data-number>0</b> of 2" in page
    page = client.get(address, {"search": "b-2", "all": "yes"}).content.decode()
    assert "data-number>1</b> of 1" in page
    assert "data-sum>$9.50</b>" in page
    assert f'value="{bag.pk}~' not in page
    assert "No counted bag is like that" in client.get(address, {"search": "Z-9"}).content.decode()
    wrong = client.get(address, {"since": "2026-02-02", "until": "2026-02-01"})
    assert wrong.status_code == 422
    assert "Give 2026-02-02 or a later day." in wrong.content.decode()
    # What was chosen stays chosen and is added up, though it is not looked for any more.
    chosen = {"bags": [f"{bag.pk}~41.2500", f"{other.pk}~9.5000"], "banked_at": now_typed()}
    answer = client.post(f"{address}add/?search=b-2", {**chosen, "amount": "50.75"})
    page = answer.content.decode()
    assert answer.status_code == 422, "the number of the slip is missing"
    assert "data-number>2</b> of 2" in page
    assert "data-sum>$50.75</b>" in page
    assert f"{address}add/?search=b-2#bank" in page
    given = {**chosen, "amount": "50.75", "slip_number": "8"}
    assert client.post(f"{address}add/?search=b-2", given).status_code == 302
    assert Banking.objects.get().held == Decimal("50.75")
    assert "No counted bag waits" in client.get(address).content.decode()


def test_a_denomination_that_is_refused_is_not_folded_away(
    bag: Bag, desk: Desk, accountant: Person
) -> None:
    client = desk(accountant)
    assert "<details><summary>By denomination" in client.get(f"/bags/{bag.pk}/").content.decode()
    wrong = {"count-counted_at": now_typed(), "count-after": "0", "count-note_100": "3.5"}
    answer = client.post(f"/bags/{bag.pk}/count/", wrong)
    assert answer.status_code == 422
    assert "<details open><summary>By denomination" in answer.content.decode()


def test_a_banking_is_taken_back_with_a_reason(bag: Bag, desk: Desk, owner: Person) -> None:
    now = timezone.now()
    count_bag(bag=bag, amount=Decimal(12), counted_at=now, actor=owner, now=now)
    client = desk(owner)
    given = {"bags": [f"{bag.pk}~12.0000"], "slip_number": "5", "amount": "12"}
    client.post("/bags/bankings/add/", {**given, "banked_at": now_typed()})
    banking = Banking.objects.get()
    address = f"/bags/bankings/{banking.pk}/take-back/"
    assert client.post(address, {}).status_code == 422
    assert client.post(address, {"back-note": "wrong slip"}).status_code == 302
    assert "taken back" in client.get("/bags/bankings/").content.decode().lower()
    assert "not banked" in client.get("/bags/?which=counted").content.decode()


def test_a_bag_is_missing_and_is_found_again(bag: Bag, desk: Desk, dispatcher: Person) -> None:
    client = desk(dispatcher)
    address = f"/bags/{bag.pk}/step/"
    lost = {"step-what": "missing", "step-at": now_typed()}
    assert client.post(address, lost).status_code == 422
    assert client.post(address, {**lost, "step-note": "not in the truck"}).status_code == 302
    page = client.get(f"/bags/{bag.pk}/").content.decode()
    assert "It is missing." in page
    assert "found again" in page
    assert "Keep the count" not in page
    assert client.post(address, {**lost, "step-what": "found"}).status_code == 302


def test_change_is_put_into_tubes_and_brought_to_a_host(
    bag: Bag, lobby: Machine, desk: Desk, accountant: Person
) -> None:
    now = timezone.now()
    count_bag(bag=bag, amount=Decimal(30), counted_at=now, actor=accountant, now=now)
    client = desk(accountant)
    filled = {
        "tubes-machine": lobby.pk,
        "tubes-way": "put_in",
        "tubes-amount": "10",
        "tubes-at": now_typed(),
        "tubes-from_bag": "A-1",
    }
    assert client.post("/bags/change/tubes/", filled).status_code == 302
    too_much = {**filled, "tubes-amount": "21"}
    assert client.post("/bags/change/tubes/", too_much).status_code == 422
    site = lobby.placements.get(ends_at__isnull=True).site_id
    brought = {
        "float-site": site,
        "float-what": "put_in",
        "float-amount": "15",
        "float-at": now_typed(),
    }
    assert client.post("/bags/change/hosts/", brought).status_code == 302
    page = client.get("/bags/change/").content.decode()
    assert "$15.00" in page
    assert "bag A-1" in page
    assert (TubeFill.objects.count(), HostFloatLine.objects.count()) == (1, 1)


def test_the_address_of_a_form_leads_back_to_its_page(
    bag: Bag, desk: Desk, accountant: Person, driver: Person
) -> None:
    client = desk(accountant)
    for address, page in (
        (f"/bags/{bag.pk}/count/", f"/bags/{bag.pk}/"),
        ("/bags/bankings/add/", "/bags/bankings/"),
        ("/bags/change/hosts/", "/bags/change/"),
        ("/settlements/columns/", "/settlements/"),
    ):
        answer = client.get(address)
        assert (answer.status_code, answer.headers["Location"]) == (302, page)
        assert desk(driver).get(address).status_code == 403, "who may not send it is told so"


def test_over_and_short_is_shown_and_exported(bag: Bag, desk: Desk, accountant: Person) -> None:
    client = desk(accountant)
    for by in ("machine", "driver", "counter"):
        today = now_typed()[:10]
        asked = {"since": "2026-01-01", "until": today, "by": by}
        page = client.get("/bags/differences/", asked).content.decode()
        assert "could be compared" in page
        assert ("Every bag once" in page) is (by != "counter"), "nobody has counted it yet"
    file = client.get("/bags/differences/export/?rows=bags&as=xlsx").content
    rows = list(load_workbook(io.BytesIO(file)).active.values)
    assert rows[1][1] == "A-1"
    assert rows[1][9] == "not compared"
    assert client.get("/bags/differences/export/?as=csv").content.startswith(b"machine,")
    wrong = client.get("/bags/differences/?since=2026-02-02&until=2026-02-01")
    assert wrong.status_code == 422


def test_drivers_see_nothing_of_cash_and_the_desk_banks_nothing(
    bag: Bag, cast: Cast, desk: Desk
) -> None:
    for address in ("", "waiting/", "bankings/", "change/", "differences/", f"{bag.pk}/"):
        assert desk(cast.driver).get(f"/bags/{address}").status_code == 403, address
        assert desk(cast.dispatcher).get(f"/bags/{address}").status_code == 200, address
    assert desk(cast.dispatcher).post("/bags/bankings/add/", {}).status_code == 403
    assert "Keep the banking" not in desk(cast.dispatcher).get("/bags/bankings/").content.decode()


def test_the_owner_says_how_long_cash_may_wait(
    bag: Bag, desk: Desk, owner: Person, accountant: Person
) -> None:
    client, address = desk(owner), "/bags/waiting/limits/"
    assert "1, for longer than 2 days" in client.get("/").content.decode()
    assert address in client.get("/bags/waiting/").content.decode()
    given = typed(client, address) | {"to_receive_days": "4"}
    assert client.post(address, given).status_code == 302
    assert "for longer than" not in client.get("/").content.decode()
    assert CashLimits.the().to_receive_days == 4
    refused = client.post(address, typed(client, address) | {"to_bank_days": "61"})
    assert refused.status_code == 422
    assert desk(accountant).get(address).status_code == 403
    assert address not in desk(accountant).get("/bags/waiting/").content.decode()


def test_a_period_of_over_and_short_has_an_end(desk: Desk, accountant: Person) -> None:
    asked = {"since": "2025-01-01", "by": "machine"}
    client = desk(accountant)
    assert client.get("/bags/differences/", asked | {"until": "2026-01-05"}).status_code == 200
    refused = client.get("/bags/differences/", asked | {"until": "2026-01-06"})
    assert refused.status_code == 422
    page = refused.content.decode()
    assert "These are 371 days; over and short is reckoned for 370 at most." in page
    assert "From 2025-01-01 give 2026-01-05 or an earlier day." in page
