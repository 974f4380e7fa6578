"""The invented business, written into an empty service through the same actions as anyone's."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "operator"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

import django

django.setup()

from django.db import transaction  # noqa: E402

from demo.business import Business, shapes  # noqa: E402
from demo.business.people import PASSWORD  # noqa: E402
from demo.facts import (  # noqa: E402
    cents,
    kind_facts,
    mm,
    position_facts,
    product_facts,
    program_facts,
    site_facts,
)
from demo.simulator.truth import Truth, Visit  # noqa: E402
from fleet.machines import models  # noqa: E402
from fleet.machines.actions import (  # noqa: E402
    changeovers,
    charts,
    holdings,
    kinds,
    machines,
    setups,
    sites,
)
from fleet.machines.geometry import PACKAGE_SIZES  # noqa: E402
from people.actions import business as desk  # noqa: E402
from people.actions import people  # noqa: E402
from people.models import Person  # noqa: E402

MORNING = time(9, 30)
# Counted on arriving, taken out, changed over, then filled.
CHANGED_AFTER = timedelta(seconds=40)
# What came out of columns that were changed over before the simulated weeks.
_OF_OLD = 6


def is_empty() -> bool:
    """Whether nobody has put anything into this service yet."""
    return not Person.objects.exists()


class Books:
    """Writes one business; keeps the rows by the names the business calls them.

    With the truth of its last weeks, changeovers are at the visits that made them.
    """

    def __init__(self, business: Business, now: datetime, truth: Truth | None = None) -> None:
        self.business = business
        self.now = now
        self._truth = truth
        self.people: dict[str, Person] = {}
        self.packages: dict[str, models.Package] = {}
        self.products: dict[str, models.Product] = {}
        self.kinds: dict[str, models.Kind] = {}
        self.sites: dict[str, models.Site] = {}
        self.machines: dict[str, models.Machine] = {}

    def write(self) -> None:
        """Everything but the audit files, or nothing."""
        with transaction.atomic():
            self.write_machines()
            self.write_set_ups()

    def write_machines(self) -> None:
        """People, products, kinds, sites and machines, none of which is set for anything yet."""
        with transaction.atomic():
            self._people()
            self._holdings()
            self._kinds()
            self._sites()
            self._machines()

    def write_set_ups(self) -> None:
        """What columns were set for, and how they were changed over."""
        with transaction.atomic():
            self._set_ups()

    @property
    def owner(self) -> Person:
        return next(one for one in self.people.values() if "owner" in one.roles)

    @property
    def dispatcher(self) -> Person:
        return next(one for one in self.people.values() if "dispatcher" in one.roles)

    def _people(self) -> None:
        for one in self.business.people:
            self.people[one.email] = people.add(
                email=one.email,
                name=one.name,
                roles=one.roles,
                password=PASSWORD,
                actor=None,
                now=self.now,
            )
        desk.change(
            changes={"name": self.business.name, "currency": self.business.currency},
            actor=self.owner,
            now=self.now,
        )

    def _holdings(self) -> None:
        for size in self.business.packages:
            sizes = {
                name: mm(value)
                for name in PACKAGE_SIZES
                if (value := getattr(size.package, name)) is not None
            }
            self.packages[size.code] = holdings.save_package(
                changes={"name": size.name, "shape": size.package.kind.value, **sizes},
                actor=self.dispatcher,
                now=self.now,
            )
        for product in self.business.products:
            self.products[product.code] = holdings.save_product(
                changes={
                    **product_facts(product),
                    "package": self.packages[product.package_code],
                },
                actor=self.dispatcher,
                now=self.now,
            )

    def _kinds(self) -> None:
        for kind in self.business.kinds:
            self.kinds[kind.name] = kinds.save_kind(
                changes=kind_facts(kind),
                programs=program_facts(kind),
                positions=[position_facts(one) for one in kind.positions],
                actor=self.dispatcher,
                now=self.now,
            )
        for line in self.business.charts:
            self._chart(line)

    def _chart(self, line: shapes.ChartLine) -> None:
        if line.deep is None or (line.front_notch is None and line.rear_notch is None):
            return
        rows = self.kinds[line.kind_name].positions.filter(label__in=line.columns)
        for position in rows:
            charts.save_chart_entry(
                position=position,
                package=self.packages[line.package_code],
                changes={
                    "source": "measured",
                    "deep": line.deep,
                    "front_setting": line.front_notch,
                    "rear_setting": line.rear_notch,
                },
                actor=self.dispatcher,
                now=self.now,
            )

    def _sites(self) -> None:
        for warehouse in self.business.warehouses:
            self.sites[warehouse.code] = self._site(warehouse, ())
        for site in self.business.sites:
            self.sites[site.code] = self._site(site, site.windows)

    def _site(
        self, place: shapes.Site | shapes.Warehouse, windows: Iterable[shapes.OpeningWindow]
    ) -> models.Site:
        return sites.save_site(
            changes=site_facts(place),
            opening_windows=[
                {"weekday": day, "opens": window.opens, "closes": window.closes}
                for window in windows
                for day in window.weekdays
            ],
            actor=self.dispatcher,
            now=self.now,
        )

    def _machines(self) -> None:
        for one in self.business.machines:
            kind = self.business.kind(one.kind_name)
            machine = machines.add_machine(
                kind=self.kinds[one.kind_name],
                changes={
                    "asset_tag": one.asset_tag,
                    "serial": one.serial,
                    "made_on": one.made_on,
                },
                selections=[
                    {"code": button.code, "positions": list(button.columns)}
                    for button in kind.buttons
                ],
                actor=self.dispatcher,
                now=self.now,
            )
            machines.place_machine(
                machine=machine,
                site=self.sites[one.site_code],
                starts_at=self._morning(one.asset_tag, one.placed_on),
                actor=self.dispatcher,
                now=self.now,
            )
            self.machines[one.asset_tag] = machine

    def _set_ups(self) -> None:
        for tag, machine in self.machines.items():
            columns = {
                column.position.label: column
                for column in machine.columns.select_related(
                    "position__kind", "machine__kind", "selection"
                )
            }
            programs = {p.name: p for p in self.kinds[machine.kind.name].programs.all()}
            seen: set[str] = set()
            for set_up in sorted(
                self.business.set_ups_of(tag), key=lambda one: (one.starts, one.column)
            ):
                column = columns[set_up.column]
                if set_up.column in seen:
                    self._change_over(set_up, column, programs.get(set_up.program or ""))
                else:
                    self._as_found(set_up, column, programs.get(set_up.program or ""))
                seen.add(set_up.column)

    def _as_found(
        self,
        set_up: shapes.SetUp,
        column: models.Column,
        program: models.DepthProgram | None,
    ) -> None:
        setups.record_as_found(
            column=column,
            product=self.products[set_up.product_code],
            deep=set_up.deep or 1,
            front_setting=set_up.front_notch,
            rear_setting=set_up.rear_notch,
            program=program,
            price=cents(set_up.price_minor),
            orientation="cap_outward" if set_up.deep else "upright",
            starts_at=self._morning(set_up.asset_tag, set_up.starts),
            actor=self.dispatcher,
            now=self.now,
        )

    def _change_over(
        self,
        set_up: shapes.SetUp,
        column: models.Column,
        program: models.DepthProgram | None,
    ) -> None:
        """A change inside the history, carried out as any other, at the time it was."""
        visit = self._visit(set_up)
        arrived = self._morning(set_up.asset_tag, set_up.starts) if visit is None else visit.at
        product = self.products[set_up.product_code]
        driver = self.people[self.business.machine(set_up.asset_tag).driver_email]
        plan = changeovers.plan(
            purpose=f"{product.name} into column {set_up.column}",
            planned_for=set_up.starts,
            lines=[
                changeovers.PlannedLine(
                    column=column, product=product, price=cents(set_up.price_minor)
                )
            ],
            actor=self.dispatcher,
            now=arrived - timedelta(days=2),
        )
        row = plan.changeovers.get()
        changeovers.take(changeover=row, actor=driver, now=arrived)
        row.refresh_from_db()
        left = changeovers.AsLeft(
            deep=set_up.deep or 1,
            front_setting=set_up.front_notch,
            rear_setting=set_up.rear_notch,
            program=program,
            price=cents(set_up.price_minor),
            orientation=row.orientation,
        )
        old = column.set_ups.filter(ends_at__isnull=True).get()
        pulled = _OF_OLD if visit is None else visit.pulled(set_up.column)
        changeovers.complete(
            changeover=row,
            as_left=left,
            removed=[changeovers.Removed(old.product, "good", pulled)] if pulled else [],
            test_vends_made=row.test_vends_asked,
            test_vends_passed=row.test_vends_asked,
            picture_matches=True,
            mismatch_reason="set as the chart of this kind says",
            actor=driver,
            now=arrived + CHANGED_AFTER,
        )

    def _visit(self, set_up: shapes.SetUp) -> Visit | None:
        """The visit that left a set-up behind, where it lies in the simulated weeks."""
        if self._truth is None:
            return None
        visits = self._truth[set_up.asset_tag].visits
        return next((one for one in visits if one.at.date() == set_up.starts), None)

    def _morning(self, asset_tag: str, day: date) -> datetime:
        site = self.business.site(self.business.machine(asset_tag).site_code)
        return datetime.combine(day, MORNING, tzinfo=ZoneInfo(site.time_zone))
