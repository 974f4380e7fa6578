"""Machines whose every sale is known, in places whose rates are known."""

from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from fleet.machines.models import Machine, Product
from fleet.sales.actions.receive import ReceivedFile, receive
from people.models import Person
from service.compliance.actions import tax_rules
from service.compliance.models import Jurisdiction
from tests.fleet.sales.meter import Meter
from tests.world import World

EAST = ZoneInfo("America/New_York")
SODA = {
    "sweetened": True,
    "juice_percent": 0,
    "contains_milk": False,
    "carbonated": True,
}
WATER = {"sweetened": False, "carbonated": False, "contains_milk": False, "water": "plain"}


def local(*parts: int) -> datetime:
    """A moment on the wall clock of the machines."""
    return datetime(*parts, tzinfo=EAST)  # type: ignore[arg-type, misc]


def drinks(world: World) -> tuple[Product, Product]:
    can = world.can(volume_ml=Decimal("354.88"), material="aluminium")
    return world.product("Cola", can, **SODA), world.product("Spring", can, **WATER)


def machine_at(world: World, tag: str, site: object, goods: tuple[Product, ...]) -> Machine:
    """A machine that stood at a site for long, its columns 1 and 2 set up."""
    kind = world.kind(f"kind of {tag}")
    machine = world.machine(tag, kind, site=site)  # type: ignore[arg-type]
    stop = kind.programs.get(name="stop")
    for label, product in zip(("1", "2"), goods, strict=False):
        world.set_up(
            world.column(machine, label),
            product,
            deep=2,
            front_setting=20,
            program=stop,
            starts_at=world.now - timedelta(days=400),
        )
    placement = machine.placements.get()
    placement.starts_at = world.now - timedelta(days=400)
    placement.save()
    return machine


class Sales:
    """Hands in reads of one machine at moments, with what was sold before each."""

    def __init__(self, machine: Machine, price: int = 175) -> None:
        self.machine, tag = machine, machine.asset_tag
        self.meter = Meter.with_buttons(
            "1", "2", price=price, asset=tag, serial=f"S{tag}", board=f"B{tag}"
        )

    def read(self, at: datetime, received: datetime | None = None, **sold: int) -> None:
        """Sell (`cash_1=5, card_2=3`) and hand in a read at a moment."""
        for name, units in sold.items():
            how, code = name.split("_")
            self.meter.sell(code, **{"cash" if how == "cash" else "cashless": units})
        file = ReceivedFile("", self.meter.read(at.astimezone(EAST).replace(tzinfo=None)))
        outcomes = receive(files=[file], source="api", actor=None, now=received or at)
        assert [one.result.value for one in outcomes] == ["accepted"], outcomes


def rate(
    code: str,
    kind: str,
    general: str,
    owner: Person,
    now: datetime,
    *,
    begins: date = date(2020, 1, 1),
    food: str | None = None,
) -> Jurisdiction:
    """A jurisdiction with a rate from a day on."""
    place = Jurisdiction.objects.filter(code=code).first()
    if place is None:
        place = tax_rules.save_jurisdiction(
            changes={"code": code, "name": code, "kind": kind, "state": code[:2]},
            actor=owner,
            now=now,
        )
    tax_rules.save_rate(
        jurisdiction=place,
        changes={
            "general": Decimal(general),
            "food": Decimal(food) if food else None,
            "begins_on": begins,
        },
        actor=owner,
        now=now,
    )
    return place


@pytest.fixture
def florida(world: World, owner: Person) -> Machine:
    """A machine in a county of Florida with 1 % of surtax, where Cola and water are sold."""
    site = world.site("Palm Court", state="FL", county="Hale")
    tax_rules.load_packs(states=["FL"], actor=owner, now=world.now)
    rate("FL", "state", "0.06", owner, world.now)
    county = rate("FL-00-00011", "county", "0.01", owner, world.now)
    tax_rules.place_site(site=site, jurisdiction=county, actor=owner, now=world.now)
    return machine_at(world, "LOB-1", site, drinks(world))
