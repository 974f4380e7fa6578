"""A small fleet, put together through the business's own actions.

In the stack kind a can of 122.2 mm lies two deep in 252 mm, a bottle of 212 mm one deep.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleet.machines.actions import changeovers, holdings, kinds, machines, setups, sites
from fleet.machines.models import (
    Changeover,
    Column,
    Kind,
    Machine,
    Package,
    Product,
    SetUp,
    Site,
)
from people.models import Person
from tests.cast import NOW

RAIL = {"zero_mm": 92, "pitch_mm": 8, "notches": 21, "mark_every": 3, "runs": "outward"}


def rail(side: str, **changes: Any) -> dict[str, Any]:
    """The columns of one half of a position."""
    return {f"{side}_depth_mm": Decimal(252)} | {
        f"{side}_{name}": Decimal(value) if name.endswith("_mm") else value
        for name, value in (RAIL | changes).items()
    }


def stack(label: str, *sides: str, **changes: Any) -> dict[str, Any]:
    """A stacked position with a half on each side named."""
    found: dict[str, Any] = {
        "label": label,
        "style": "stack",
        "width_mm": Decimal(84),
        "height_mm": Decimal(900),
        "greatest_deep": 2,
        "cradle_units": 1,
    }
    for side in sides or ("front",):
        found |= rail(side)
    return found | changes


@dataclass
class World:
    """Rows by the plain names the tests use."""

    owner: Person
    now: datetime = NOW

    def kind(self, name: str = "two-sided stack", **changes: Any) -> Kind:
        return kinds.save_kind(
            changes={"name": name, "vend_window_s": Decimal(15)} | changes,
            programs=[
                {"name": "run on", "deep": 1, "cycle_s": Decimal(18), "run_on_s": Decimal(10)},
                {"name": "stop", "deep": 2, "cycle_s": Decimal(18), "run_on_s": Decimal(0)},
            ],
            positions=[stack("1"), stack("2"), stack("3", "front", "rear"), stack("4", "rear")],
            actor=self.owner,
            now=self.now,
        )

    def can(self, name: str = "can, 12 fl oz", **sizes: Any) -> Package:
        measured = {"length_mm": Decimal("122.2"), "diameter_mm": Decimal("66.1")}
        return self.package(name, "can", **(measured | sizes))

    def bottle(self, name: str = "bottle, 20 fl oz", **sizes: Any) -> Package:
        measured = {
            "length_mm": Decimal(212),
            "diameter_mm": Decimal(73),
            "shoulder_mm": Decimal(125),
            "neck_from_mm": Decimal(165),
            "neck_to_mm": Decimal(185),
            "neck_diameter_mm": Decimal(28),
            "cap_diameter_mm": Decimal(30),
        }
        return self.package(name, "necked_bottle", **(measured | sizes))

    def package(self, name: str, shape: str, **sizes: Any) -> Package:
        return holdings.save_package(
            changes={"name": name, "shape": shape} | sizes, actor=self.owner, now=self.now
        )

    def product(self, name: str, package: Package, **changes: Any) -> Product:
        given = {
            "name": name,
            "package": package,
            "price": Decimal("1.75"),
            "cost": Decimal("0.62"),
            "picture": f"{name} picture",
        }
        return holdings.save_product(changes=given | changes, actor=self.owner, now=self.now)

    def site(self, name: str = "Ferry landing", **changes: Any) -> Site:
        return sites.save_site(changes={"name": name} | changes, actor=self.owner, now=self.now)

    def machine(self, tag: str, kind: Kind, *, site: Site | None = None, **more: Any) -> Machine:
        selections = more.pop("selections", None)
        machine = machines.add_machine(
            kind=kind,
            changes={"asset_tag": tag} | more,
            selections=selections,
            actor=self.owner,
            now=self.now,
        )
        if site is not None:
            machines.place_machine(
                machine=machine,
                site=site,
                starts_at=self.now - timedelta(days=90),
                actor=self.owner,
                now=self.now,
            )
        return machine

    def column(self, machine: Machine, label: str) -> Column:
        return machine.columns.select_related("position__kind", "machine__kind", "selection").get(
            position__label=label
        )

    def set_up(self, column: Column, product: Product, **changes: Any) -> SetUp:
        given: dict[str, Any] = {
            "deep": 1,
            "price": product.price,
            "starts_at": self.now - timedelta(days=60),
        }
        return setups.record_as_found(
            column=column, product=product, actor=self.owner, now=self.now, **(given | changes)
        )

    def planned(self, column: Column, product: Product, **line: Any) -> Changeover:
        plan = changeovers.plan(
            purpose=f"{product} from now on",
            planned_for=self.now.date(),
            lines=[changeovers.PlannedLine(column=column, product=product, **line)],
            actor=self.owner,
            now=self.now,
        )
        return plan.changeovers.get()

    def as_planned(self, changeover: Changeover) -> changeovers.AsLeft:
        """The settings exactly as planned."""
        return changeovers.AsLeft(
            deep=changeover.deep,
            front_setting=changeover.front_setting,
            rear_setting=changeover.rear_setting,
            program=changeover.program,
            price=changeover.price,
            orientation=changeover.orientation,
        )

    def complete(self, changeover: Changeover, **changes: Any) -> Changeover:
        """Complete as planned, all test vends passed, unless told otherwise."""
        given: dict[str, Any] = {
            "as_left": self.as_planned(changeover),
            "removed": [],
            "test_vends_made": changeover.test_vends_asked,
            "test_vends_passed": changeover.test_vends_asked,
            "picture_matches": True,
            "actor": self.owner,
            "now": self.now,
        }
        return changeovers.complete(changeover=changeover, **(given | changes))


@pytest.fixture
def world(owner: Person) -> World:
    """An empty fleet and the owner who fills it."""
    return World(owner=owner)


@pytest.fixture
def lobby(world: World) -> Machine:
    """A machine at a site, cans two deep in column 1, a bottle in column 2."""
    machine = world.machine("LOB-1", world.kind(), site=world.site())
    cola = world.product("Cola", world.can())
    tea = world.product("Tea", world.bottle())
    kind = machine.kind
    world.set_up(
        world.column(machine, "1"),
        cola,
        deep=2,
        front_setting=20,
        program=kind.programs.get(name="stop"),
    )
    world.set_up(
        world.column(machine, "2"),
        tea,
        front_setting=10,
        program=kind.programs.get(name="run on"),
    )
    return machine
