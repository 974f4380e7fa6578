"""The pages of duties, food temperatures, dates and recalls, and who may do what there."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from fleet.inventory.actions import places
from fleet.machines.models import Machine, Product
from people.models import Business, Person
from service.compliance.actions import duty_rules, recalls, temperatures
from service.compliance.models import Duty, DutyDone, DutyRule, FoodLock, Recall, TemperatureLimits
from service.upkeep.models import Reading
from tests.cast import NOW
from tests.fleet.inventory.stores import Stores
from tests.service.compliance.test_duties import by_hand, picture, rule

Desk = Callable[[Person], Client]
PAGES = ("duties/", "duties/rules/", "temperatures/", "dates/", "recalls/")


def text(answer: object) -> str:
    return answer.content.decode()  # type: ignore[attr-defined]


def ago(hours: int) -> str:
    """A moment as it is typed: by the business's clock."""
    at = timezone.localtime(timezone.now() - timedelta(hours=hours), Business.the().time_zone)
    return f"{at:%Y-%m-%dT%H:%M}"


@pytest.fixture
def cold(lobby: Machine) -> Machine:
    Product.objects.filter(name="Tea").update(kept_cold_or_hot=True)
    return lobby


def test_everybody_sees_every_page(
    desk: Desk, driver: Person, accountant: Person, owner: Person, no_role: Person, cold: Machine
) -> None:
    rule(owner)
    for person in (driver, accountant, owner):
        for page in PAGES:
            assert desk(person).get(f"/compliance/{page}").status_code == 200, page
    assert desk(no_role).get("/compliance/duties/").status_code == 403


def test_a_duty_is_written_down_with_a_picture(
    desk: Desk, accountant: Person, owner: Person, lobby: Machine
) -> None:
    rule(owner, every_months=12)
    duty = Duty.objects.get()
    client = desk(accountant)
    page = text(client.get(f"/compliance/duties/{duty.pk}/"))
    assert "Rule 1; verified: the rule itself was read" in page
    file = SimpleUploadedFile("label.jpg", picture().raw, content_type="image/jpeg")
    today = timezone.now().date() - timedelta(days=1)
    answer = client.post(
        f"/compliance/duties/{duty.pk}/record/",
        {"done_on": today.isoformat(), "number": "77-A", "file": file},
        follow=True,
    )
    assert "seen to" in text(answer)
    done = DutyDone.objects.get()
    assert done.evidence is not None
    kept = client.get(f"/compliance/evidence/{done.evidence_id}/")
    assert kept["Content-Type"] == "image/jpeg"
    assert kept["X-Content-Type-Options"] == "nosniff"
    back = client.post(
        f"/compliance/duties/done/{done.pk}/set-aside/", {"why": "wrong machine"}, follow=True
    )
    assert "It counts for nothing" in text(back)


def test_several_at_once_from_the_list(desk: Desk, owner: Person, lobby: Machine) -> None:
    rule(owner)
    rule(owner, title="Another label")
    keys = list(Duty.objects.values_list("pk", flat=True))
    client = desk(owner)
    refused = client.post("/compliance/duties/record/", {"duties": keys, "done_on": ""})
    assert refused.status_code == 422
    day = (timezone.now().date() - timedelta(days=1)).isoformat()
    none = client.post("/compliance/duties/record/", {"done_on": day})
    assert none.status_code == 422
    assert "choose 1 to" in text(none)
    answer = client.post(
        "/compliance/duties/record/", {"duties": keys, "done_on": day}, follow=True
    )
    assert "2 duties written down" in text(answer)


def test_a_driver_writes_down_only_the_own(
    desk: Desk, driver: Person, owner: Person, lobby: Machine
) -> None:
    rule(owner)
    duty = Duty.objects.get()
    client = desk(driver)
    assert "Write it down" not in text(client.get(f"/compliance/duties/{duty.pk}/"))
    day = (timezone.now().date() - timedelta(days=1)).isoformat()
    answer = client.post(f"/compliance/duties/{duty.pk}/record/", {"done_on": day})
    assert answer.status_code == 403
    assert client.get("/compliance/duties/add/").status_code == 403


def test_a_duty_by_hand_and_its_end(desk: Desk, owner: Person) -> None:
    client = desk(owner)
    given = {
        "title": "Policy of the van",
        "kind": "insurance",
        "subject": "business",
        "due_on": "2027-05-01",
        "notice_days": 30,
        "status": "",
    }
    assert client.post("/compliance/duties/add/", given).status_code == 302
    duty = Duty.objects.get()
    shown = client.get(f"/compliance/duties/{duty.pk}/change/")
    assert "Policy of the van" in text(shown)
    answer = client.post(
        f"/compliance/duties/{duty.pk}/drop/", {"why": "sold the van"}, follow=True
    )
    assert "no longer asked for" in text(answer)


def test_rules_are_taken_in_and_changed(desk: Desk, owner: Person, lobby: Machine) -> None:
    client = desk(owner)
    answer = client.post("/compliance/duties/rules/packs/", follow=True)
    assert "rules taken in" in text(answer)
    assert "Ferry landing" in text(answer)  # its state is not written down
    one = DutyRule.objects.get(key="ca-records")
    page = client.get(f"/compliance/duties/rules/{one.pk}/")
    assert "It came with a pack" in text(page)


def test_the_list_as_a_file(desk: Desk, owner: Person) -> None:
    by_hand(owner, title="=1+1")
    Duty.objects.update(due_on=timezone.now().date())
    file = desk(owner).get("/compliance/duties/export/?as=csv")
    assert "'=1+1" in text(file)


def test_a_warm_reading_locks_and_the_work_lets_go(
    desk: Desk, driver: Person, accountant: Person, dispatcher: Person, cold: Machine
) -> None:
    client = desk(driver)
    assert "Write a temperature down" in text(client.get(f"/compliance/temperatures/{cold.pk}/"))
    given = {"what": "cabinet_c", "value": "44", "unit": "°F"}
    moment = ago(8)
    answer = client.post(
        f"/compliance/temperatures/{cold.pk}/read/", given | {"at": moment}, follow=True
    )
    page = text(answer)
    assert "Locked since" in page
    assert "Treat the food as unsafe" in page
    assert "office:" not in page
    for where in (f"/fleet/{cold.pk}/", "/compliance/temperatures/"):
        assert "ocked since" in text(client.get(where)), where
    lift = f"/compliance/temperatures/{cold.pk}/lift/"
    assert desk(accountant).post(lift, {}).status_code == 403
    late = ago(3)
    refused = client.post(lift, {"serviced_at": late, "restocked_at": late, "said": ""})
    assert refused.status_code == 422
    answer = client.post(
        lift,
        {"serviced_at": late, "restocked_at": late, "said": "fan changed, food thrown away"},
        follow=True,
    )
    assert "it may sell again" in text(answer)
    assert client.post(lift, {}).status_code == 404


def test_a_failure_locks(desk: Desk, driver: Person, cold: Machine) -> None:
    at = ago(8)
    answer = desk(driver).post(
        f"/compliance/temperatures/{cold.pk}/fail/",
        {"what": "plug was out", "at": at},
        follow=True,
    )
    assert "plug was out" in text(answer)
    assert FoodLock.objects.get().reading is None


def test_limits_are_kept_by_the_desk(desk: Desk, driver: Person, owner: Person) -> None:
    assert desk(driver).get("/compliance/temperatures/limits/add/").status_code == 403
    client = desk(owner)
    given = {
        "state": "OH",
        "cold_most_c": "4.5",
        "cold_minutes": "30",
        "hot_least_c": "60",
        "hot_minutes": "120",
        "citation": "county code",
        "status": "memory",
    }
    assert client.post("/compliance/temperatures/limits/add/", given).status_code == 302
    row = TemperatureLimits.objects.get()
    assert row.cold_most_c == Decimal("4.5")
    assert "county code" in text(client.get("/compliance/temperatures/"))
    assert client.get(f"/compliance/temperatures/limits/{row.pk}/").status_code == 200
    client.post(f"/compliance/temperatures/limits/{row.pk}/remove/")
    assert not TemperatureLimits.objects.exists()


@pytest.fixture
def recalled(stores: Stores) -> Recall:
    stores.receive(40, stores.old)
    stores.load(30)
    stores.fill(6, lot=stores.old)
    return recalls.save(
        changes={"product": stores.cola, "lot_codes": "OLD", "reason": "glass found"},
        actor=stores.actor,
        now=NOW,
    )


def test_a_recall_from_beginning_to_end(
    desk: Desk, dispatcher: Person, driver: Person, stores: Stores, recalled: Recall
) -> None:
    client = desk(dispatcher)
    page = text(client.get(f"/compliance/recalls/{recalled.pk}/"))
    assert "LOB-1" in page
    offered = client.get(f"/compliance/recalls/{recalled.pk}/").content.decode()
    assert f'<option value="{stores.old.pk}" selected>' in offered, "the one lot called back"
    address = f"/compliance/recalls/{recalled.pk}"
    assert desk(driver).post(f"{address}/close/", {"said": "x"}).status_code == 403
    answer = client.post(
        f"{address}/send/", {"machines": [stores.machine.pk], "day": "2027-01-04"}, follow=True
    )
    assert "LOB-1" in text(answer)  # nobody drives that day, and it says so
    file = SimpleUploadedFile("bin.jpg", picture().raw, content_type="image/jpeg")
    place = places.column_place(stores.one)
    answer = desk(driver).post(
        f"{address}/take-out/",
        {
            "place": place.pk,
            "quantity": "6",
            "lot": stores.old.pk,
            "at": "2026-03-02T08:00",
            "file": file,
        },
        follow=True,
    )
    assert "bin.jpg" in text(answer)
    assert client.post(f"{address}/close/", {"said": "all out"}).status_code == 422
    answer = client.post(f"{address}/close/", {"said": "withdrawn", "despite": "on"}, follow=True)
    assert "Ended" in text(answer)
    assert "Canal depot" in text(client.get(f"{address}/export/?as=csv"))


def test_a_recall_is_opened(desk: Desk, dispatcher: Person, stores: Stores) -> None:
    given = {"product": stores.cola.pk, "lot_codes": "A, B", "reason": "glass found"}
    answer = desk(dispatcher).post("/compliance/recalls/add/", given, follow=True)
    assert "Recall of Cola" in text(answer)
    assert Recall.objects.get().codes == ("A", "B")


def test_dates_and_their_file(desk: Desk, driver: Person, stores: Stores) -> None:
    stores.receive(6, stores.old)  # best before 1 April 2026
    stores.load(6)
    stores.fill(6, lot=stores.old)
    page = text(desk(driver).get("/compliance/dates/"))
    assert "past, 1 Apr 2026" in page
    file = text(desk(driver).get("/compliance/dates/export/?as=csv"))
    assert "2026-04-01,past its date,LOB-1" in file


def test_the_upkeep_page_judges_food_too(desk: Desk, driver: Person, cold: Machine) -> None:
    at = ago(8)
    desk(driver).post(
        f"/upkeep/machines/{cold.pk}/read/",
        {"what": "cabinet_c", "value": "9", "unit": "°C", "at": at},
    )
    assert Reading.objects.count() == 1
    assert FoodLock.objects.count() == 1


def test_a_rule_page_says_how_far_its_source_was_checked(
    desk: Desk, owner: Person, accountant: Person
) -> None:
    duty_rules.load_packs(actor=owner, now=NOW)
    page = text(desk(accountant).get("/compliance/duties/rules/"))
    assert "This is no legal advice" in page
    assert "unverified: from memory" in page


def test_nothing_locks_what_holds_no_such_food(desk: Desk, driver: Person, lobby: Machine) -> None:
    page = text(desk(driver).get(f"/compliance/temperatures/{lobby.pk}/"))
    assert "holds no food" in page
    assert temperatures.judge(now=NOW) == []
