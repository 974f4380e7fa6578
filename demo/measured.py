"""What was measured at machines: how warm food was, how they are reached, what they use."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from random import Random
from zoneinfo import ZoneInfo

from demo.books import Books
from demo.business.machines import asset_tag
from demo.business.people import EAST
from fleet.machines.models import Machine
from people.models import Person
from service.compliance.actions import measured, temperatures
from service.compliance.actions.measured import PartMeasured
from service.compliance.models import AccessCheck, AccessMeasure
from service.compliance.queries.temperatures import holds
from service.compute import energy
from service.upkeep.actions import work
from service.upkeep.models import Reading

SEED = 20_260_622
READ_DAYS = 7
READ_AT = (time(7, 40), time(18, 20))
COLD_C = (2.4, 4.4)
# Warm since some hours, and nobody has been there yet; warm some days ago, mended and restocked.
WARM_NOW, WARM_ONCE = asset_tag("S23", "C"), asset_tag("S40", "C")
WARM_ONCE_DAYS = 5
MEASURED_SITES = ("S01", "S02", "S03", "S05", "S09", "S17", "S30", "S37")
TOO_HIGH, TOO_STIFF, BEHIND = asset_tag("S05", "B"), asset_tag("S30", "B"), asset_tag("S17", "B")
METERED = (("S01", "A"), ("S06", "B"), ("S11", "A"), ("S15", "A"), ("S28", "C"), ("S33", "B"))
TOO_MUCH = asset_tag("S33", "B")
METERED_DAYS = 14

Part = AccessMeasure.Part
# Heights as cabinets of this size have them, in mm; the door takes some newtons to push.
HEIGHTS = {
    Part.COIN_SLOT: 1140,
    Part.NOTE_SLOT: 1085,
    Part.CARD_READER: 1175,
    Part.BUTTONS_HIGHEST: 1195,
    Part.BUTTONS_LOWEST: 870,
    Part.COIN_RETURN: 610,
    Part.PRODUCT_DOOR: 430,
}


class Measured:
    """Writes readings of temperature, access and energy, with one of each out of its limits."""

    def __init__(self, books: Books) -> None:
        self._books = books
        self._now = books.now
        self._random = Random(f"{SEED}")

    def write(self) -> int:
        """How many machines with food kept cold were read."""
        kept = set(holds())
        tags = [tag for tag, row in self._books.machines.items() if row.pk in kept]
        for tag in tags:
            self._read(tag)
        temperatures.judge(now=self._now, machines=kept)
        self._access()
        self._energy()
        return len(tags)

    def _read(self, tag: str) -> None:
        """Twice a day, as a probe in the cabinet tells it."""
        for at in self._moments():
            if tag == WARM_ONCE and at.date() == self._days_ago(WARM_ONCE_DAYS):
                continue
            self._take(tag, at, self._random.uniform(*COLD_C))
        if tag == WARM_ONCE:
            self._was_warm(tag)
        if tag == WARM_NOW:
            for hours, celsius in ((5.0, 6.9), (3.5, 8.3), (1.5, 9.4)):
                self._take(tag, self._now - timedelta(hours=hours), celsius)

    def _was_warm(self, tag: str) -> None:
        """Locked in the morning; mended, emptied and filled anew in the afternoon."""
        machine, driver = self._books.machines[tag], self._driver(tag)
        day = self._days_ago(WARM_ONCE_DAYS)
        found, mended = (
            datetime.combine(day, at, tzinfo=ZoneInfo(EAST)) for at in (time(7, 40), time(14, 10))
        )
        self._take(tag, found, 8.1)
        seen = found + timedelta(minutes=2)
        for lock in temperatures.judge(now=seen, machines=[machine.pk]):
            temperatures.lift(
                lock=lock,
                serviced_at=mended,
                restocked_at=mended + timedelta(minutes=25),
                said="Condenser was clogged; brushed, cold again. The milk was thrown away.",
                actor=driver,
                now=mended + timedelta(minutes=30),
            )
        self._take(tag, mended + timedelta(hours=1), 4.1)

    def _take(self, tag: str, at: datetime, celsius: float) -> None:
        work.take_reading(
            machine=self._books.machines[tag],
            what=Reading.What.CABINET_C,
            value=Decimal(f"{celsius:.1f}"),
            at=at,
            source=Reading.Source.API,
            actor=self._driver(tag),
            now=self._now,
        )

    def _access(self) -> None:
        """Where machines stand at some sites, with a rule and a force gauge."""
        tags = [
            one.asset_tag
            for one in self._books.business.machines
            if one.site_code in MEASURED_SITES
        ]
        for number, tag in enumerate(tags):
            parts = []
            for part, height_mm in HEIGHTS.items():
                off = self._random.randrange(-12, 13)
                if tag == TOO_HIGH and part in (Part.CARD_READER, Part.BUTTONS_HIGHEST):
                    off = 74
                force = Decimal(28 if tag == TOO_STIFF and part == Part.PRODUCT_DOOR else 15)
                parts.append(PartMeasured(part, height_mm + off, force))
            measured.measure_access(
                machine=self._books.machines[tag],
                parts=parts,
                approach=AccessCheck.Approach.FORWARD,
                obstruction_height_mm=760 if tag == BEHIND else None,
                obstruction_depth_mm=610 if tag == BEHIND else None,
                measured_at=self._now - timedelta(days=40 + 9 * number),
                note="A bench stands before it." if tag == BEHIND else "",
                actor=self._books.dispatcher,
                now=self._now,
            )

    def _energy(self) -> None:
        """A fortnight with a meter at the plug; one uses more than its limit."""
        for number, (site, letter) in enumerate(METERED):
            tag = asset_tag(site, letter)
            if tag not in self._books.machines:
                continue
            machine = Machine.objects.select_related("kind").get(pk=self._books.machines[tag].pk)
            limit = self._limit(machine)
            if limit is None:
                continue
            share = Decimal("1.13") if tag == TOO_MUCH else Decimal(76 + 3 * number) / 100
            ends = self._now - timedelta(days=11 + 6 * number)
            measured.measure_energy(
                machine=machine,
                starts_at=ends - timedelta(days=METERED_DAYS),
                ends_at=ends,
                kwh=(limit * share * METERED_DAYS).quantize(Decimal("0.1")),
                note="The lamp burns day and night." if tag == TOO_MUCH else "",
                actor=self._books.dispatcher,
                now=self._now,
            )

    def _limit(self, machine: Machine) -> Decimal | None:
        kind = machine.kind
        if kind.refrigerated_volume_l is None or machine.made_on is None:
            return None
        found = energy.limit(
            energy.EnergyClass(kind.energy_class), kind.refrigerated_volume_l, machine.made_on
        )
        return found.kwh_per_day

    def _moments(self) -> Iterator[datetime]:
        for days in range(READ_DAYS, 0, -1):
            for at in READ_AT:
                yield datetime.combine(self._days_ago(days), at, tzinfo=ZoneInfo(EAST))

    def _days_ago(self, days: int) -> date:
        return self._now.astimezone(ZoneInfo(EAST)).date() - timedelta(days=days)

    def _driver(self, tag: str) -> Person:
        return self._books.people[self._books.business.machine(tag).driver_email]
