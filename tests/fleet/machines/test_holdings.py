"""Packages and products at the door."""

from decimal import Decimal

import pytest

from fleet.machines.actions import holdings
from fleet.machines.models import Package, Product
from people import audit
from people.errors import Unacceptable
from tests.world import World

pytestmark = pytest.mark.django_db


def test_sizes_that_contradict_each_other_are_refused_and_the_row_stays(world: World) -> None:
    bottle = world.bottle()
    with pytest.raises(Unacceptable) as refused:
        holdings.save_package(
            package=bottle,
            changes={"shoulder_mm": Decimal(190)},
            actor=world.owner,
            now=world.now,
        )
    assert "shoulder_mm" in refused.value.fields
    assert bottle.shoulder_mm == 125
    bottle.refresh_from_db()
    assert bottle.shoulder_mm == 125


def test_a_package_need_not_be_measured_whole(world: World) -> None:
    assert world.package("new bottle", "necked_bottle").length_mm is None


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("036000291452", "00036000291452"),  # UPC-A
        ("6291041500213", "06291041500213"),  # EAN-13, worked example of GS1
        ("73513537", "00000073513537"),  # GTIN-8
        ("10614141000415", "10614141000415"),  # GTIN-14
        ("", None),
    ],
)
def test_a_gtin_is_kept_as_fourteen_digits(world: World, given: str, kept: str | None) -> None:
    assert world.product("Cola", world.can(), gtin=given).gtin == kept


def test_a_wrong_check_digit_names_the_right_one(world: World) -> None:
    with pytest.raises(Unacceptable) as refused:
        world.product("Cola", world.can(), gtin="6291041500214")
    assert "its check digit must be 3" in refused.value.fields["gtin"]
    assert not Product.objects.exists()


def test_one_gtin_is_one_product_however_it_was_typed(world: World) -> None:
    can = world.can()
    world.product("Cola", can, gtin="036000291452")
    with pytest.raises(Unacceptable) as refused:
        world.product("Cola again", can, gtin="0036000291452")
    assert "gtin" in refused.value.fields


def test_a_price_is_exact_to_the_cent(world: World) -> None:
    with pytest.raises(Unacceptable) as refused:
        world.product("Cola", world.can(), price=Decimal("1.755"))
    assert "USD has 2" in refused.value.fields["price"]


def test_a_change_leaves_what_differed(world: World) -> None:
    cola = world.product("Cola", world.can())
    holdings.save_product(
        product=cola, changes={"price": Decimal("1.90")}, actor=world.owner, now=world.now
    )
    entry = audit.entries_of(cola)[0]
    assert entry.actor == world.owner
    assert entry.before is not None
    assert entry.after is not None
    assert entry.before["price"].startswith("1.75")
    assert entry.after["price"] == "1.9000"


def test_changing_nothing_writes_nothing(world: World) -> None:
    can = world.can()
    stamp = Package.objects.get(pk=can.pk).updated_at
    holdings.save_package(package=can, changes={"name": can.name}, actor=world.owner, now=world.now)
    assert Package.objects.get(pk=can.pk).updated_at == stamp
    assert audit.entries_of(can).count() == 1
