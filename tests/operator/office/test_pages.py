"""Every page opens, says what stands in the rows, and asks a fixed number of questions."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.machines.models import Column, Machine
from people.models import Person
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]

LISTS = ("today", "fleet", "fit", "changeovers", "reads", "products", "packages", "kinds", "sites")
FORMS = (
    "machine-add",
    "product-add",
    "package-add",
    "kind-add",
    "site-add",
    "person-add",
    "plan",
    "replace",
    "people",
    "business",
    "own-page",
    "meanings",
)


def pages_of(machine: Machine) -> dict[str, str]:
    """The pages about one row each, by name."""
    column = machine.columns.get(position__label="1")
    set_up = column.set_ups.get(ends_at__isnull=True)
    return {
        "machine": reverse("office:machine", args=[machine.pk]),
        "machine-change": reverse("office:machine-change", args=[machine.pk]),
        "column": reverse("office:column", args=[column.pk]),
        "as-found": reverse("office:as-found", args=[column.pk]),
        "fit-product": reverse("office:fit-product", args=[set_up.product_id]),
        "product": reverse("office:product", args=[set_up.product_id]),
        "product-change": reverse("office:product-change", args=[set_up.product_id]),
        "package": reverse("office:package", args=[set_up.product.package_id]),
        "package-change": reverse("office:package-change", args=[set_up.product.package_id]),
        "kind": reverse("office:kind", args=[machine.kind_id]),
        "chart": reverse("office:chart", args=[machine.kind_id]),
        "machine-wire": reverse("office:machine-wire", args=[machine.pk]),
        "kind-change": reverse("office:kind-change", args=[machine.kind_id]),
        "site": reverse("office:site", args=[machine.placements.get().site_id]),
        "site-change": reverse("office:site-change", args=[machine.placements.get().site_id]),
    }


def counted(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200, address
    return len(queries)


def test_every_page_opens_for_an_owner(owner: Person, lobby: Machine, desk: Desk) -> None:
    client = desk(owner)
    for name in (*LISTS, *FORMS):
        assert client.get(reverse(f"office:{name}")).status_code == 200, name
    for name, address in pages_of(lobby).items():
        assert client.get(address).status_code == 200, name


def test_every_page_opens_before_there_is_anything(owner: Person, desk: Desk) -> None:
    for name in (*LISTS, *FORMS):
        assert desk(owner).get(reverse(f"office:{name}")).status_code == 200, name


def test_a_page_asks_no_more_however_much_there_is(
    owner: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    client = desk(owner)
    addresses = {name: reverse(f"office:{name}") for name in LISTS} | pages_of(lobby)
    del addresses["kind-change"], addresses["machine-change"]  # forms of one row
    few = {name: counted(client, address) for name, address in addresses.items()}
    tea = lobby.columns.get(position__label="2").set_ups.get().product
    for n in range(8):
        more = world.machine(f"MORE-{n}", lobby.kind, site=world.site(f"Site {n}"))
        world.set_up(world.column(more, "2"), tea, front_setting=10)
        world.product(f"Soda {n}", world.can(f"can {n}"))
        world.planned(world.column(more, "1"), tea)
    many = {name: counted(client, address) for name, address in addresses.items()}
    grown = {name: (few[name], many[name]) for name in few if many[name] > few[name]}
    # One more only where the first of its sort came to be shown.
    allowed = {"today", "fleet", "changeovers", "fit-product", "product"}
    assert {name: pair for name, pair in grown.items() if name not in allowed} == {}
    for name, (before, after) in grown.items():
        assert after - before <= 2, f"{name}: {before} questions grew to {after}"


def test_the_machine_page_draws_each_column_and_says_what_is_wrong(
    owner: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    text = desk(owner).get(reverse("office:machine", args=[lobby.pk])).content.decode()
    assert text.count('<svg class="section"') == lobby.columns.count()
    assert "two for one likely" not in text
    column = world.column(lobby, "1")
    set_up = column.set_ups.get()
    world.set_up(
        column,
        set_up.product,
        deep=2,
        front_setting=19,
        program=lobby.kind.programs.get(name="run on"),
        starts_at=world.now - timedelta(days=1),
    )
    text = desk(owner).get(reverse("office:machine", args=[lobby.pk])).content.decode()
    assert "two for one likely" in text
    assert "two products for one payment" in text


def test_no_page_carries_a_style_or_a_script_of_its_own(
    owner: Person, lobby: Machine, desk: Desk
) -> None:
    """The policy for content (CSP) lets none through, so one would silently do nothing."""
    client = desk(owner)
    for address in pages_of(lobby).values():
        answer = client.get(address)
        text = answer.content.decode()
        assert " style=" not in text
        assert "<style" not in text
        assert "onclick" not in text
        assert "unsafe" not in answer["Content-Security-Policy"]


def test_the_fleet_is_narrowed_as_one_types(
    owner: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    world.machine("YARD-2", lobby.kind)
    client = desk(owner)
    part = client.get("/fleet/", {"search": "lob"}, headers={"HX-Request": "true"})
    text = part.content.decode()
    assert "LOB-1" in text
    assert "YARD-2" not in text
    assert "<html" not in text
    assert "HX-Request" in part["Vary"]
    assert "HX-Request" in client.get("/fleet/")["Vary"]
    product = lobby.columns.get(position__label="1").set_ups.get().product
    held = client.get("/fleet/", {"product": product.pk}).content.decode()
    assert "LOB-1" in held
    assert "YARD-2</a>" not in held
    assert "YARD-2" not in client.get("/fleet/", {"events": "on"}).content.decode()


def test_the_fleet_is_paged_by_tag_to_and_fro(
    owner: Person, lobby: Machine, world: World, desk: Desk
) -> None:
    client = desk(owner)
    tags = [f"M-{n:03}" for n in range(120)]
    Machine.objects.bulk_create(Machine(asset_tag=tag, kind=lobby.kind) for tag in tags)
    all_tags = sorted([*tags, "LOB-1"])
    seen, address = [], "/fleet/"
    pages = []
    while address:
        page = client.get(address).context["page"]
        pages.append([machine.asset_tag for machine in page.rows])
        seen += pages[-1]
        address = f"/fleet/?after={page.after}" if page.after else ""
    assert seen == all_tags
    last = client.get(f"/fleet/?after={pages[1][-1]}").context["page"]
    back = client.get(f"/fleet/?before={last.before}").context["page"]
    assert [machine.asset_tag for machine in back.rows] == pages[1]
    first = client.get(f"/fleet/?before={back.before}").context["page"]
    assert [machine.asset_tag for machine in first.rows] == pages[0]
    assert first.before is None


def test_what_fits_is_narrowed_and_says_why(owner: Person, lobby: Machine, desk: Desk) -> None:
    column = Column.objects.get(machine=lobby, position__label="1")
    part = desk(owner).get(
        f"/fit/columns/{column.pk}/", {"search": "tea"}, headers={"HX-Request": "true"}
    )
    text = part.content.decode()
    assert "Tea" in text
    assert "Cola" not in text
    assert "fits" in text


def test_someone_without_a_role_sees_only_their_own(no_role: Person, desk: Desk) -> None:
    client = desk(no_role)
    assert b"no role yet" in client.get("/").content
    assert client.get("/me/").status_code == 200
    for name in (*LISTS[1:], "people", "business"):
        assert client.get(reverse(f"office:{name}")).status_code == 403, name


def test_a_driver_sees_and_carries_out_but_does_not_plan(
    driver: Person, lobby: Machine, desk: Desk
) -> None:
    client = desk(driver)
    text = client.get(f"/fleet/{lobby.pk}/").content.decode()
    assert "Change or move" not in text
    assert client.get("/changeovers/plan/").status_code == 403
    assert b"Plan for columns" not in client.get("/changeovers/").content


def test_what_is_not_there_is_said_plainly(owner: Person, desk: Desk) -> None:
    for address in ("/fleet/99999/", "/no-such-page/", "/changeovers/99999/", "/reads/99999/"):
        answer = desk(owner).get(address)
        assert answer.status_code == 404
        assert b"Nothing here" in answer.content
