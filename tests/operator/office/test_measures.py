"""Kinds, packages, products and sites: typed, drawn, refused beside their fields, kept."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleet.machines.models import Kind, Machine, Package, Product, Site
from fleet.sales.models import EventMeaning
from people.actions import business
from people.models import Person
from tests.typed import typed
from tests.world import World

pytestmark = pytest.mark.django_db
Desk = Callable[[Person], Client]


@pytest.fixture
def client_of_owner(owner: Person, world: World, desk: Desk) -> Client:
    business.change(changes={"units": "in"}, actor=owner, now=world.now)
    return desk(owner)


def kind_posted(**changes: Any) -> dict[str, Any]:
    """A kind as the form sends it, in inches: two stacks with a front rail, and a spiral."""
    return {
        "name": "Seven-column stack",
        "vend_window_s": "15",
        "drop_sensor": "on",
        "refrigerated_volume_l": "",
        "energy_class": "",
        "notes": "",
        "program-count": "1",
        "program-0-name": "run on",
        "program-0-deep": "1",
        "program-0-cycle_s": "18",
        "program-0-run_on_s": "10",
        "positions-count": "2",
        "positions-0-names": "1-2",
        "positions-0-style": "stack",
        "positions-0-width_mm": "3 1/8",
        "positions-0-height_mm": "35",
        "positions-0-greatest_deep": "2",
        "positions-0-cradle_units": "1",
        "positions-0-front_depth_mm": "10",
        "positions-0-front_zero_mm": "3.5",
        "positions-0-front_pitch_mm": "0.25",
        "positions-0-front_notches": "24",
        "positions-0-front_mark_every": "3",
        "positions-0-front_runs": "outward",
        "positions-0-rear_mark_every": "3",
        "positions-1-names": "S1",
        "positions-1-style": "spiral",
        "positions-1-width_mm": "3",
        "positions-1-height_mm": "8",
        "positions-1-greatest_deep": "1",
        "positions-1-cradle_units": "0",
        "positions-1-front_mark_every": "3",
        "positions-1-rear_mark_every": "3",
        "positions-1-turns": "10",
        "positions-1-spiral_pitch_mm": "2",
    } | changes


def test_a_kind_is_typed_once_for_all_positions_measured_alike(client_of_owner: Client) -> None:
    answer = client_of_owner.post("/kinds/add/", kind_posted())
    kind = Kind.objects.get()
    assert answer["Location"] == f"/kinds/{kind.pk}/"
    assert [one.label for one in kind.positions.all()] == ["1", "2", "S1"]
    first = kind.positions.first()
    assert first is not None
    assert (first.width_mm, first.front_pitch_mm) == (Decimal("79.375"), Decimal("6.350"))
    assert [one.name for one in kind.programs.all()] == ["run on"]
    shown = client_of_owner.get(f"/kinds/{kind.pk}/change/").content.decode()
    assert 'value="3.125"' in shown
    assert 'value="1, 2"' in shown


def test_a_kind_sent_back_as_it_was_shown_changes_nothing(
    client_of_owner: Client, lobby: Machine
) -> None:
    page = client_of_owner.get(f"/kinds/{lobby.kind_id}/change/")
    parts = page.context["parts"]
    posted: dict[str, Any] = {
        "program-count": len(parts.programs),
        "positions-count": len(parts.positions),
    }
    for form in parts.all():
        for bound in form:
            value = bound.value()
            if value is True:
                value = "on"
            if value is not None and value is not False:
                posted[bound.html_name] = value
    before = list(lobby.kind.positions.order_by("pk").values())
    answer = client_of_owner.post(f"/kinds/{lobby.kind_id}/change/", posted)
    assert answer.status_code == 302, [f.errors for f in answer.context["parts"].all()]
    assert list(lobby.kind.positions.order_by("pk").values()) == before


def test_another_part_is_added_without_losing_what_was_typed(client_of_owner: Client) -> None:
    answer = client_of_owner.post("/kinds/add/", kind_posted(add="program", name="Half typed"))
    text = answer.content.decode()
    assert answer.status_code == 200
    assert 'name="program-1-name"' in text
    assert 'value="Half typed"' in text
    assert not Kind.objects.exists()


def test_a_kind_is_refused_beside_the_part_that_is_wrong(client_of_owner: Client) -> None:
    wrong = kind_posted(**{"positions-0-front_zero_mm": "9"})
    answer = client_of_owner.post("/kinds/add/", wrong)
    assert answer.status_code == 422
    assert b"beyond the depth" in answer.content
    missing = kind_posted(**{"positions-0-front_pitch_mm": ""})
    assert client_of_owner.post("/kinds/add/", missing).status_code == 422
    letters = client_of_owner.post("/kinds/add/", kind_posted(**{"positions-0-width_mm": "wide"}))
    assert b"wide is no length" in letters.content
    assert not Kind.objects.exists()


def test_a_position_in_use_is_not_lost(client_of_owner: Client, lobby: Machine) -> None:
    address = f"/kinds/{lobby.kind_id}/change/"
    shown = typed(client_of_owner, address)["shown"]
    answer = client_of_owner.post(address, kind_posted(shown=shown))
    assert answer.status_code == 422
    assert lobby.columns.count() == 4


def test_a_part_is_removed_by_clearing_its_name_unless_it_is_in_use(
    client_of_owner: Client,
) -> None:
    client_of_owner.post("/kinds/add/", kind_posted())
    kind = Kind.objects.get()
    cleared = kind_posted(**{"positions-1-names": "", "program-0-name": ""})
    address = f"/kinds/{kind.pk}/change/"
    cleared["shown"] = typed(client_of_owner, address)["shown"]
    client_of_owner.post(address, cleared)
    assert [one.label for one in kind.positions.all()] == ["1", "2"]
    assert not kind.programs.exists()
    nameless = {"program-count": "1", "program-0-name": "", "program-0-cycle_s": "18"}
    nameless["shown"] = typed(client_of_owner, address)["shown"]
    refused = client_of_owner.post(address, cleared | nameless)
    assert refused.status_code == 422


def test_what_is_typed_is_drawn_and_not_kept(client_of_owner: Client) -> None:
    drawn = client_of_owner.post("/kinds/draw/", kind_posted()).content.decode()
    assert drawn.count("<svg") == 2
    half_typed = kind_posted(**{"positions-0-width_mm": "3 1/"})
    text = client_of_owner.post("/kinds/draw/", half_typed).content.decode()
    assert text.count("<svg") == 1
    assert not Kind.objects.exists()


def test_a_package_is_drawn_as_it_is_typed_and_its_contradictions_are_said(
    client_of_owner: Client,
) -> None:
    given = {"name": "bottle", "shape": "necked_bottle", "length_mm": "8", "diameter_mm": "2 7/8"}
    assert b"<svg" in client_of_owner.post("/packages/draw/", given).content
    wrong = client_of_owner.post("/packages/draw/", {**given, "neck_to_mm": "9"})
    assert b"beyond" in wrong.content
    assert b"<svg" not in wrong.content
    refused = client_of_owner.post("/packages/add/", {**given, "neck_to_mm": "9"})
    assert refused.status_code == 422
    client_of_owner.post("/packages/add/", given)
    assert Package.objects.get().diameter_mm == Decimal("73.025")


def test_a_wrong_gtin_shows_the_digit_that_would_be_right(
    client_of_owner: Client, world: World
) -> None:
    # 6291041500213 is GS1's own example of a check digit calculation (check digit calculator page).
    can = world.can()
    given = {
        "name": "Soda",
        "package": can.pk,
        "price": "1.75",
        "form": "drink",
        "gtin": "6291041500214",
        "sold": "on",
    }
    wrong = client_of_owner.post("/products/add/", given)
    assert wrong.status_code == 422
    assert b"check digit must be 3" in wrong.content
    client_of_owner.post("/products/add/", {**given, "gtin": "6291041500213"})
    assert Product.objects.get().gtin == "06291041500213"


def test_a_product_sent_back_as_it_was_shown_changes_nothing(
    client_of_owner: Client, world: World
) -> None:
    product = world.product("Soda", world.can(), sweetened=True)
    form = client_of_owner.get(f"/products/{product.pk}/change/").context["form"]
    posted = {
        bound.html_name: "on" if bound.value() is True else bound.value()
        for bound in form
        if bound.value() not in (None, False)
    }
    posted["sweetened"] = "true"
    answer = client_of_owner.post(f"/products/{product.pk}/change/", posted)
    assert answer.status_code == 302, answer.context["form"].errors
    stored = Product.objects.get()
    assert (stored.price, stored.cost, stored.sweetened) == (product.price, product.cost, True)


def test_a_site_keeps_its_hours(client_of_owner: Client) -> None:
    given = {
        "name": "Mill gate",
        "purpose": "host",
        "country": "US",
        "time_zone": "America/New_York",
        "hours": "Mon-Fri 7:30-16:00",
    }
    client_of_owner.post("/sites/add/", given)
    site = Site.objects.get()
    assert site.opening_windows.count() == 5
    assert b"Mon-Fri 07:30-16:00" in client_of_owner.get(f"/sites/{site.pk}/").content
    address = f"/sites/{site.pk}/change/"
    given["shown"] = typed(client_of_owner, address)["shown"]
    wrong = client_of_owner.post(address, {**given, "hours": "Mon 9-8"})
    assert wrong.status_code == 422
    assert b'id="id_hours_error"' in wrong.content
    overlapping = {**given, "hours": "Mon 8-12\nMon 11-13"}
    assert client_of_owner.post(address, overlapping).status_code == 422
    assert site.opening_windows.count() == 5


def test_a_machine_is_added_changed_and_moved(client_of_owner: Client, world: World) -> None:
    kind, site = world.kind(), world.site()
    client_of_owner.post(
        "/fleet/add/", {"kind": kind.pk, "asset_tag": "NEW-1", "status": "in_service"}
    )
    machine = Machine.objects.get()
    assert machine.columns.count() == kind.positions.count()
    again = client_of_owner.post(
        "/fleet/add/", {"kind": kind.pk, "asset_tag": "NEW-1", "status": "in_service"}
    )
    assert (again.status_code, b'id="id_asset_tag_error"' in again.content) == (422, True)
    client_of_owner.post(
        f"/fleet/{machine.pk}/place/",
        {"site": site.pk, "spot": "hall", "starts_at": "2026-03-02T09:00"},
    )
    placement = machine.placements.get()
    # Nine in the morning where the business is (New York, five hours behind in March's first week).
    assert placement.starts_at.isoformat() == "2026-03-02T14:00:00+00:00"
    earlier = client_of_owner.post(
        f"/fleet/{machine.pk}/place/", {"site": site.pk, "starts_at": "2026-03-01T09:00"}
    )
    assert earlier.status_code == 422


def test_a_chart_entry_is_added_refused_and_taken_out(
    client_of_owner: Client, lobby: Machine
) -> None:
    position = lobby.kind.positions.get(label="2")
    package = Package.objects.get(shape="necked_bottle")
    address = f"/kinds/{lobby.kind_id}/chart/"
    given = {"position": position.pk, "package": package.pk, "source": "measured", "deep": "1"}
    wrong = client_of_owner.post(address, given | {"front_setting": "40"})
    assert (wrong.status_code, b'id="id_front_setting_error"' in wrong.content) == (422, True)
    client_of_owner.post(address, given | {"front_setting": "11"})
    entry = position.chart.get()
    assert entry.front_setting == 11
    client_of_owner.post(f"/charts/{entry.pk}/remove/")
    assert not position.chart.exists()


def test_two_columns_are_put_behind_one_selection(client_of_owner: Client, lobby: Machine) -> None:
    address = f"/fleet/{lobby.pk}/selections/"
    form = client_of_owner.get(address).context["form"]
    posted = {bound.html_name: bound.value() for bound in form}
    third = lobby.columns.get(position__label="3")
    client_of_owner.post(address, posted | {f"column-{third.pk}": "2"})
    wired = {
        column.position.label: column.selection and column.selection.code
        for column in lobby.columns.select_related("position", "selection")
    }
    assert wired == {"1": "1", "2": "2", "3": "2", "4": "4"}
    posted = typed(client_of_owner, address)
    client_of_owner.post(address, posted | {f"column-{third.pk}": ""})
    third.refresh_from_db()
    assert third.selection is None


def test_an_event_code_is_said_otherwise(client_of_owner: Client) -> None:
    meaning = EventMeaning.objects.filter(kind=None).first()
    assert meaning is not None
    given = {"about": meaning.about, "words": "call the dispatcher", "urgency": "now"}
    address = f"/events/{meaning.pk}/"
    client_of_owner.post(address, typed(client_of_owner, address) | given)
    meaning.refresh_from_db()
    assert (meaning.words, meaning.urgency) == ("call the dispatcher", "now")
    found = client_of_owner.get("/events/", {"search": "dispatcher"}).content
    assert b"call the dispatcher" in found
