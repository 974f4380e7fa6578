"""Demand at the desk: pages, what they say, and for whom money is."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from fleet.demand.models import ColumnNeed, DemandRules, FitRun, UnusualDay
from fleet.machines.models import Machine, Product
from people.models import Person
from tests.fleet.demand.sellers import column, fit_all, sell_and_read, shop
from tests.fleet.inventory.stores import count_column
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Any], Client]


@pytest.fixture
def sold(world: World, owner: Person) -> Machine:
    world.now = timezone.now()
    (machine,) = shop(world, 1)
    sell_and_read(machine, until=world.now)
    count_column(
        column=column(machine, "1"), counted=17, counted_at=world.now, actor=owner, now=world.now
    )
    fit_all(owner, world.now)
    return machine


def text(response: Any) -> str:
    assert response.status_code == 200, response.content
    return str(response.content.decode())


def test_fits_and_how_they_fared(sold: Machine, owner: Person, desk: Desk) -> None:
    said = text(desk(owner).get("/demand/"))
    assert "2 columns of 1 machines on 140 intervals of sale." in said
    assert "80 %" in said
    run = FitRun.objects.get()
    assert "near" in text(desk(owner).get(f"/demand/fits/{run.pk}/")).lower()


def test_a_person_starts_a_fit_and_its_progress_is_fetched(
    sold: Machine, owner: Person, driver: Person, desk: Desk
) -> None:
    assert desk(driver).post("/demand/fit/").status_code == 403
    client = desk(owner)
    answer = client.post("/demand/fit/")
    run = FitRun.objects.get(state="running")
    assert answer["Location"] == f"/demand/fits/{run.pk}/"
    part = text(client.get(f"/demand/fits/{run.pk}/", headers={"HX-Request": "true"}))
    assert "<progress" in part
    assert "<html" not in part
    assert client.post("/demand/fit/").status_code == 409


def test_the_machine_shows_what_is_in_it_and_by_the_next_visit(
    sold: Machine, owner: Person, desk: Desk
) -> None:
    said = text(desk(owner).get(f"/fleet/{sold.pk}/"))
    assert "level-now" in said
    assert "level-visit" in said
    assert "17 now" in said
    assert "not counted yet" in said  # column 2


def test_a_columns_demand_and_money_for_whom_it_is(
    sold: Machine, owner: Person, driver: Person, desk: Desk
) -> None:
    address = f"/demand/columns/{column(sold, '1').pk}/"
    said = text(desk(owner).get(address))
    assert 'class="chart"' in said
    assert "of margin" in said
    seen = text(desk(driver).get(address))
    assert "of margin" not in seen
    assert "in vain" in seen
    assert "holds nothing" in text(desk(owner).get(f"/demand/columns/{column(sold, '3').pk}/"))


def test_asking_what_would_change(sold: Machine, owner: Person, driver: Person, desk: Desk) -> None:
    held, cola = column(sold, "2"), Product.objects.get(name="Cola")
    address = f"/demand/machines/{sold.pk}/"
    assert desk(driver).get(address).status_code == 403
    client = desk(owner)
    said = text(client.get(address, {f"product_{held.pk}": cola.pk}))
    assert "gain a week" in said
    assert f"?column={held.pk}&amp;product={cola.pk}" in said
    assert "gain" in text(client.get(f"{address}suggested/"))


def test_what_does_not_fit_is_said_beside_its_input(
    sold: Machine, owner: Person, desk: Desk, world: World
) -> None:
    wide = world.product("Wide", world.can("wide can", diameter_mm=200))
    held = column(sold, "2")
    answer = desk(owner).get(f"/demand/machines/{sold.pk}/", {f"product_{held.pk}": wide.pk})
    assert answer.status_code == 422
    assert f"id_product_{held.pk}_error" in answer.content.decode()


def test_rules_and_unusual_days(owner: Person, desk: Desk) -> None:
    client = desk(owner)
    page = client.get("/demand/rules/")
    form = page.context["form"]
    given = {name: form[name].value() for name in form.fields} | {"usual_gap_days": 4}
    assert client.post("/demand/rules/", given).status_code == 302
    assert DemandRules.the().usual_gap_days == 4
    answer = client.post(
        "/demand/rules/days/", {"day-day": "2099-12-25", "day-part": "0", "day-note": "closed"}
    )
    assert answer.status_code == 302
    day = UnusualDay.objects.get()
    assert "closed" in text(client.get("/demand/rules/"))
    assert client.post(f"/demand/rules/days/{day.pk}/").status_code == 302
    assert not UnusualDay.objects.exists()


def test_needs_are_listed_the_soonest_dry_first_and_go_out_as_files(
    sold: Machine, owner: Person, driver: Person, desk: Desk
) -> None:
    said = text(desk(owner).get("/demand/needs/"))
    dry = {one.column.position.label: one.dry_early_day for one in ColumnNeed.objects.all()}
    first, last = sorted(dry, key=lambda label: dry[label])
    assert dry[first] < dry[last]
    assert said.index(f"M-0, {first}</a>") < said.index(f"M-0, {last}</a>")
    assert "Margin lost" in said
    assert "Margin lost" not in text(desk(driver).get("/demand/needs/"))
    for address, name in (("/demand/needs/export/", "needs"), ("/demand/export/", "fits")):
        answer = desk(owner).get(address)
        assert answer["Content-Disposition"] == f'attachment; filename="{name}.csv"'
        assert desk(owner).get(f"{address}?as=xlsx").content[:2] == b"PK"
    assert "margin" in text(desk(owner).get("/demand/needs/export/"))
    assert "margin" not in text(desk(driver).get("/demand/needs/export/"))
