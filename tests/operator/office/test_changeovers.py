"""A changeover at the desk and on the phone: planned, shown, taken, left, or given up."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from fleet.machines.models import Changeover, ChangeoverPlan, Machine
from office.forms.changeovers import AsLeftForm
from people.models import Person
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


@pytest.fixture
def planned(lobby: Machine, world: World) -> Changeover:
    """Column 1, full of cans, is to hold tea bottles."""
    tea = world.column(lobby, "2").set_ups.get().product
    return world.planned(world.column(lobby, "1"), tea)


def as_left(changeover: Changeover, **changes: Any) -> dict[str, Any]:
    shown = AsLeftForm(changeover=Changeover.objects.get(pk=changeover.pk))
    given = {
        "removed_good": "20",
        "removed_out_of_date": "2",
        "removed_damaged": "",
        "deep": changeover.deep,
        "front_setting": changeover.front_setting,
        "program": changeover.program_id,
        "price": changeover.price,
        "orientation": changeover.orientation,
        "picture_matches": "on",
        "test_vends_made": "4",
        "test_vends_passed": "4",
        "what_happened": "",
        "mismatch_reason": "",
        "shown": shown["shown"].value(),
    }
    return given | changes


def test_the_outlook_is_shown_before_anything_is_planned(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    column = world.column(lobby, "1")
    tea = world.column(lobby, "2").set_ups.get().product
    client = desk(dispatcher)
    address = f"/changeovers/plan/?column={column.pk}&product={tea.pk}"
    text = client.get(address).content.decode()
    assert "What is computed" in text
    assert "in the neck" in text
    assert not ChangeoverPlan.objects.exists()
    given = {
        "column": [column.pk],
        "product": tea.pk,
        "purpose": "Tea",
        "planned_for": "2026-03-09",
    }
    answer = client.post("/changeovers/plan/", given)
    changeover = Changeover.objects.get()
    assert answer["Location"] == f"/changeovers/plans/{changeover.plan_id}/"
    assert changeover.column == column
    assert changeover.price == tea.price
    again = client.post("/changeovers/plan/", given)
    assert again.status_code == 422
    assert b"another changeover already" in again.content


def test_several_columns_are_planned_in_one_go(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    tea = world.column(lobby, "2").set_ups.get().product
    columns = [world.column(lobby, label).pk for label in ("1", "3")]
    desk(dispatcher).post(
        "/changeovers/plan/",
        {"column": columns, "product": tea.pk, "purpose": "Tea", "planned_for": "2026-03-09"},
    )
    assert Changeover.objects.count() == 2
    assert ChangeoverPlan.objects.count() == 1


def test_a_setting_by_hand_is_refused_beside_its_field(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    column = world.column(lobby, "1")
    tea = world.column(lobby, "2").set_ups.get().product
    given = {
        "column": [column.pk],
        "product": tea.pk,
        "purpose": "Tea",
        "planned_for": "2026-03-09",
        "deep": "1",
        "front_setting": "99",
    }
    answer = desk(dispatcher).post("/changeovers/plan/", given)
    assert answer.status_code == 422
    assert b"the front rail has the notches 0 to 20" in answer.content
    alone = desk(dispatcher).post("/changeovers/plan/", {**given, "deep": ""})
    assert b"Say how many lie deep" in alone.content


def test_a_product_is_replaced_everywhere(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    cola = world.column(lobby, "1").set_ups.get().product
    tea = world.column(lobby, "2").set_ups.get().product
    client = desk(dispatcher)
    shown = client.get(f"/changeovers/replace/?old={cola.pk}&new={tea.pk}").content.decode()
    assert "1 column holds" in shown
    given = {"old": cola.pk, "new": tea.pk, "purpose": "Tea for cola", "planned_for": "2026-03-09"}
    answer = client.post("/changeovers/replace/", given)
    assert answer["Location"].startswith("/changeovers/plans/")
    assert Changeover.objects.get().product == tea
    same = client.post("/changeovers/replace/", {**given, "new": cola.pk})
    assert (same.status_code, b"the product that comes out" in same.content) == (422, True)


def test_columns_left_out_are_said_by_reason(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    cola = world.column(lobby, "1").set_ups.get().product
    tea = world.column(lobby, "2").set_ups.get().product
    crisps = world.product("Crisps", world.package("bag", "bag", height_mm=170, thickness_mm=45))
    client = desk(dispatcher)
    none = client.get(f"/changeovers/replace/?old={cola.pk}&new={crisps.pk}")
    assert b"goes into none of them" in none.content
    assert [len(out) for _, out in none.context["kept_out"]] == [1]
    assert b"<button>Plan" not in none.content
    world.planned(world.column(lobby, "1"), tea)
    busy = client.get(f"/changeovers/replace/?old={cola.pk}&new={tea.pk}")
    assert [why for why, _ in busy.context["kept_out"]] == ["It is in another changeover already."]
    columns = [world.column(lobby, label) for label in ("1", "2", "3", "4")]
    asked = "&".join(f"column={one.pk}" for one in columns)
    many = client.get(f"/changeovers/plan/?product={tea.pk}&{asked}")
    assert b"Leave the others out" in many.content
    assert columns[0].pk not in many.context["going_in"]


def test_the_sheet_says_all_that_a_hand_needs(
    driver: Person, planned: Changeover, desk: Desk
) -> None:
    text = desk(driver).get(f"/changeovers/{planned.pk}/").content.decode()
    assert text.count('<svg class="section"') == 2
    for said in ("Take all Cola out", "Front spacers", "Unplug the machine", "maker&#x27;s manual"):
        assert said in text
    assert "Take it in hand" in text
    assert "Record how it was left" not in text
    assert "taken out, good" in text  # a blank to write on


def test_from_planned_to_done_on_the_phone(driver: Person, planned: Changeover, desk: Desk) -> None:
    client = desk(driver)
    early = client.post(f"/changeovers/{planned.pk}/as-left/", as_left(planned))
    assert (early.status_code, b"take it in hand first" in early.content) == (422, True)
    client.post(f"/changeovers/{planned.pk}/take/")
    form = client.get(f"/changeovers/{planned.pk}/as-left/").context["form"]
    assert form["front_setting"].value() is None  # who confirms what is planned does not look
    answer = client.post(f"/changeovers/{planned.pk}/as-left/", as_left(planned))
    assert answer["Location"] == f"/changeovers/{planned.pk}/"
    planned.refresh_from_db()
    assert planned.state == "done"
    removed = {(one.condition, one.count) for one in planned.removed.all()}
    assert removed == {("good", 20), ("out_of_date", 2)}
    now = planned.column.set_ups.get(ends_at__isnull=True)
    assert (now.product, now.front_setting) == (planned.product, planned.front_setting)
    text = client.get(f"/changeovers/{planned.pk}/").content.decode()
    assert "4 of 4 passed" in text
    twice = client.post(f"/changeovers/{planned.pk}/as-left/", as_left(planned))
    assert twice.status_code == 422
    assert planned.column.set_ups.count() == 2


def test_strays_of_another_product_are_counted_too(
    driver: Person, planned: Changeover, world: World, desk: Desk
) -> None:
    lime = world.product("Lime", world.can("can of lime"))
    client = desk(driver)
    client.post(f"/changeovers/{planned.pk}/take/")
    address = f"/changeovers/{planned.pk}/as-left/"
    lines = {"strays-count": "1", "stray-0-product": str(lime.pk), "stray-0-good": "2"}
    given = as_left(planned) | {"removed_good": "5"} | lines
    more = client.post(address, {**given, "add": "stray", "what_happened": "typed already"})
    text = more.content.decode()
    assert (more.status_code, text.count("Other product ")) == (200, 2)
    assert "typed already" in text
    assert 'class="error"' not in text
    planned.refresh_from_db()
    assert planned.state == Changeover.State.IN_HAND
    nameless = client.post(address, {**given, "stray-0-product": ""})
    assert (nameless.status_code, b"Say which product" in nameless.content) == (422, True)
    assert planned.from_set_up is not None
    usual = str(planned.from_set_up.product_id)
    twice = client.post(address, {**given, "stray-0-product": usual})
    assert (twice.status_code, b"is counted above" in twice.content) == (422, True)
    none = client.post(address, {**given, "stray-0-good": ""})
    assert (none.status_code, b"Count at least one" in none.content) == (422, True)
    assert client.post(address, given).status_code == 302
    removed = {(one.product.name, one.condition, one.count) for one in planned.removed.all()}
    assert removed >= {("Lime", "good", 2), ("Cola", "good", 5)}


def test_a_mismatch_asks_for_its_reason_beside_the_field(
    driver: Person, planned: Changeover, desk: Desk
) -> None:
    client = desk(driver)
    client.post(f"/changeovers/{planned.pk}/take/")
    other = as_left(planned, front_setting=str((planned.front_setting or 0) + 1))
    answer = client.post(f"/changeovers/{planned.pk}/as-left/", other)
    assert answer.status_code == 422
    text = answer.content.decode()
    assert 'id="id_mismatch_reason_error"' in text
    assert "front setting" in text
    planned.refresh_from_db()
    assert planned.state == "in_hand"
    other["mismatch_reason"] = "notch 11 is bent"
    client.post(f"/changeovers/{planned.pk}/as-left/", other)
    planned.refresh_from_db()
    assert (planned.state, planned.mismatch_reason) == ("done", "notch 11 is bent")
    assert b"notch 11 is bent" in client.get(f"/changeovers/{planned.pk}/").content


def test_a_wrong_notch_or_price_is_refused_beside_the_field(
    driver: Person, planned: Changeover, desk: Desk
) -> None:
    client = desk(driver)
    client.post(f"/changeovers/{planned.pk}/take/")
    for name, value in (("front_setting", "99"), ("price", "1.999"), ("test_vends_passed", "9")):
        answer = client.post(
            f"/changeovers/{planned.pk}/as-left/", as_left(planned, **{name: value})
        )
        assert answer.status_code == 422
        assert f'id="id_{name}_error"' in answer.content.decode(), name


def test_giving_up_wants_a_reason_and_leaves_the_column(
    driver: Person, planned: Changeover, desk: Desk
) -> None:
    client = desk(driver)
    without = client.post(f"/changeovers/{planned.pk}/abandon/", {"reason": ""})
    assert without.status_code == 422
    client.post(f"/changeovers/{planned.pk}/abandon/", {"reason": "no bottles came"})
    planned.refresh_from_db()
    assert (planned.state, planned.ended_reason) == ("abandoned", "no bottles came")
    assert planned.column.set_ups.count() == 1
    late = client.post(f"/changeovers/{planned.pk}/take/")
    assert late.status_code == 409
    assert b"Nothing was changed" in late.content


def test_a_column_is_recorded_as_found(
    dispatcher: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    column = world.column(lobby, "1")
    cola = column.set_ups.get().product
    given = {
        "product": cola.pk,
        "deep": "2",
        "front_setting": "19",
        "program": "",
        "price": "1.75",
        "orientation": "cap_outward",
    }
    client = desk(dispatcher)
    wrong = client.post(f"/fit/columns/{column.pk}/as-found/", {**given, "deep": "5"})
    assert (wrong.status_code, b"takes 1 to 2 deep" in wrong.content) == (422, True)
    client.post(f"/fit/columns/{column.pk}/as-found/", given)
    assert column.set_ups.get(ends_at__isnull=True).front_setting == 19
