"""Calorie signs, access and energy: what is written down, judged, refused and taken back."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from fleet.machines.actions import holdings, kinds, machines
from fleet.machines.models import Machine, Product
from people.errors import NotAllowed, Unable, Unacceptable
from people.models import AuditEntry, Person
from people.papers import as_pdf
from service.compliance.actions import measured
from service.compliance.actions.measured import PartMeasured
from service.compliance.label_papers import signs
from service.compliance.models import AccessCheck, EnergyReading
from service.compliance.queries import labels
from service.compliance.queries import measured as queries
from tests.world import World

pytestmark = pytest.mark.django_db


def measure(world: World, machine: Machine, **changes: Any) -> AccessCheck:
    given: dict[str, Any] = {
        "parts": [PartMeasured("coin_slot", 1194, Decimal("18.0"))],
        "approach": "side",
        "measured_at": world.now - timedelta(hours=1),
        "actor": world.owner,
    }
    return measured.measure_access(machine=machine, now=world.now, **(given | changes))


def use(world: World, machine: Machine, **changes: Any) -> EnergyReading:
    given: dict[str, Any] = {
        "starts_at": world.now - timedelta(days=10),
        "ends_at": world.now,
        "kwh": Decimal("39.0"),
    }
    return measured.measure_energy(
        machine=machine, actor=world.owner, now=world.now, **(given | changes)
    )


def cooled(world: World, machine: Machine) -> Machine:
    """Class A, 25.5 cubic feet, made in 2020: 3.756 kWh a day (10 CFR 431.296)."""
    kinds.save_kind(
        kind=machine.kind,
        changes={"energy_class": "A", "refrigerated_volume_l": Decimal("722.1")},
        actor=world.owner,
        now=world.now,
    )
    return machines.change_machine(
        machine=machine, changes={"made_on": date(2020, 1, 1)}, actor=world.owner, now=world.now
    )


class TestAccess:
    def test_a_check_is_judged_where_the_machine_stands(self, world: World, lobby: Machine) -> None:
        measure(world, lobby)
        (row,) = queries.access_now()
        assert (row.machine, row.state) == (lobby, "met")

    def test_the_latest_check_counts(self, world: World, lobby: Machine) -> None:
        # 2010 ADA Standards 308.3.1: 48 in (1220 mm) at most; 49 in is 1245 mm.
        measure(world, lobby, measured_at=world.now - timedelta(days=3))
        high = measure(world, lobby, parts=[PartMeasured("coin_slot", 1245)])
        (row,) = queries.access_now()
        assert (row.check, row.state) == (high, "to change")
        assert row.judged is not None
        assert "25 mm lower" in row.judged.change[0]

    def test_what_is_set_aside_counts_for_nothing(self, world: World, lobby: Machine) -> None:
        good = measure(world, lobby, measured_at=world.now - timedelta(days=3))
        bad = measure(world, lobby, parts=[PartMeasured("coin_slot", 1245)])
        measured.set_aside(row=bad, why="wrong machine", actor=world.owner, now=world.now)
        (row,) = queries.access_now()
        assert row.check == good
        with pytest.raises(Unable):
            measured.set_aside(row=bad, why="again", actor=world.owner, now=world.now)
        assert AuditEntry.objects.filter(verb="set aside").count() == 1

    def test_moved_machines_are_measured_anew(self, world: World, lobby: Machine) -> None:
        measure(world, lobby, measured_at=world.now - timedelta(days=3))
        machines.place_machine(
            machine=lobby,
            site=world.site("Mill"),
            starts_at=world.now - timedelta(days=1),
            actor=world.owner,
            now=world.now,
        )
        (row,) = queries.access_now()
        assert (row.state, row.placement.site.name) == ("not measured", "Mill")

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"parts": []}, "parts"),
            ({"parts": [PartMeasured("coin_slot", 9000)]}, "parts.0.height_mm"),
            ({"parts": [PartMeasured("coin_slot", 900, Decimal(-1))]}, "parts.0.force_n"),
            ({"parts": [PartMeasured("lever", 900)]}, "parts.0.part"),
            ({"parts": [PartMeasured("coin_slot", 900)] * 2}, "parts.1.part"),
            ({"approach": "above"}, "approach"),
            ({"obstruction_height_mm": 800}, "obstruction_depth_mm"),
            (
                {"obstruction_height_mm": 9000, "obstruction_depth_mm": 10},
                "obstruction_height_mm",
            ),
        ],
    )
    def test_what_cannot_be_is_refused_by_field(
        self, world: World, lobby: Machine, changes: dict[str, Any], field: str
    ) -> None:
        with pytest.raises(Unacceptable) as refused:
            measure(world, lobby, **changes)
        assert field in refused.value.fields
        assert not AccessCheck.objects.exists()

    def test_a_machine_that_stood_nowhere(self, world: World, lobby: Machine) -> None:
        with pytest.raises(Unable) as refused:
            measure(world, lobby, measured_at=world.now - timedelta(days=200))
        assert refused.value.code == "stood_nowhere"

    def test_who_may(
        self, world: World, lobby: Machine, driver: Person, other_driver: Person, accountant: Person
    ) -> None:
        check = measure(world, lobby, actor=driver)
        with pytest.raises(NotAllowed):
            measured.set_aside(row=check, why="not mine", actor=other_driver, now=world.now)
        with pytest.raises(NotAllowed):
            measure(world, lobby, actor=accountant)
        measured.set_aside(row=check, why="mine", actor=driver, now=world.now)


class TestEnergy:
    def test_a_reading_stands_beside_its_limit(self, world: World, lobby: Machine) -> None:
        cooled(world, lobby)
        use(world, lobby)
        (row,) = queries.use_now()
        # 10 CFR 431.296: 0.052 x 25.5 + 2.43 = 3.756; 39 kWh in 10 days are 3.9.
        assert row.allowed.limit is not None
        assert row.allowed.limit.kwh_per_day == Decimal("3.7560")
        assert (row.a_day, row.state) == (Decimal("3.900"), "above")

    def test_the_meter_at_both_ends(self, world: World, lobby: Machine) -> None:
        cooled(world, lobby)
        reading = use(
            world, lobby, kwh=None, meter_from=Decimal("120.5"), meter_until=Decimal("157.5")
        )
        assert reading.kwh == Decimal(37)
        assert queries.use_now()[0].state == "within"

    def test_what_is_not_recorded_is_named(self, world: World, lobby: Machine) -> None:
        kinds.save_kind(
            kind=lobby.kind, changes={"energy_class": "B"}, actor=world.owner, now=world.now
        )
        use(world, lobby)
        (row,) = queries.use_now()
        assert row.state == "limit not known"
        assert row.allowed.missing == ("the refrigerated volume of its kind", "when it was made")
        assert row.a_day == Decimal("3.900")

    @pytest.mark.parametrize(
        ("changes", "field"),
        [
            ({"kwh": None}, "kwh"),
            ({"kwh": Decimal(-1)}, "kwh"),
            ({"meter_from": Decimal(1)}, "kwh"),
            (
                {"kwh": None, "meter_from": Decimal(2), "meter_until": Decimal(1)},
                "meter_until",
            ),
        ],
    )
    def test_what_cannot_be_is_refused_by_field(
        self, world: World, lobby: Machine, changes: dict[str, Any], field: str
    ) -> None:
        with pytest.raises(Unacceptable) as refused:
            use(world, lobby, **changes)
        assert field in refused.value.fields
        assert not EnergyReading.objects.exists()

    def test_no_time_and_no_future(self, world: World, lobby: Machine) -> None:
        for changes, field in (
            ({"starts_at": world.now}, "ends_at"),
            ({"ends_at": world.now + timedelta(days=1)}, "ends_at"),
            ({"starts_at": world.now - timedelta(days=9999)}, "starts_at"),
        ):
            with pytest.raises(Unacceptable) as refused:
                use(world, lobby, **changes)
            assert field in refused.value.fields


class TestSigns:
    @pytest.fixture
    def hiding(self, world: World, lobby: Machine) -> Machine:
        kinds.save_kind(
            kind=lobby.kind, changes={"front_hides_label": True}, actor=world.owner, now=world.now
        )
        return lobby

    @pytest.mark.usefixtures("hiding")
    def test_few_machines_are_covered_only_when_registered(self, world: World) -> None:
        assert not labels.covered_now().covered
        assert not labels.sheets_now()[0].shown.sign
        measured.save_label_settings(
            changes={"registered": True, "contact": "Fennimore, 555 0100"},
            actor=world.owner,
            now=world.now,
        )
        assert labels.covered_now().covered
        assert labels.sheets_now()[0].shown.sign

    def test_a_registration_that_is_none_has_no_end(self, world: World) -> None:
        with pytest.raises(Unacceptable) as refused:
            measured.save_label_settings(
                changes={"registered_until": date(2027, 1, 1)}, actor=world.owner, now=world.now
            )
        assert "registered_until" in refused.value.fields

    @pytest.mark.usefixtures("hiding")
    def test_values_are_declared_and_missing_ones_named(self, world: World) -> None:
        cola = Product.objects.get(name="Cola")
        holdings.save_product(
            product=cola, changes={"calories": Decimal("147")}, actor=world.owner, now=world.now
        )
        (sheet,) = labels.sheets_now()
        declared = {line.product.name: line.declared for line in sheet.lines}
        # 21 CFR 101.9(c)(1): above 50 to the nearest 10.
        assert declared["Cola"] == 150
        assert cola not in sheet.missing
        assert {one.name for one in sheet.missing} == set(declared) - {"Cola"}
        text = "".join(page.extract_text() for page in PdfReader(_file(sheet)).pages)
        assert "Cola" in text
        assert "150" in text
        assert "not known" in text or not sheet.missing

    def test_machines_that_show_the_package_need_no_sign(self, lobby: Machine) -> None:
        assert labels.sheets_now() == []
        (asked,) = labels.sheets_now([lobby.pk])
        assert not asked.shown.sign


@pytest.mark.parametrize(
    "asked", [labels.sheets_now, queries.access_now, queries.use_now], ids=lambda one: one.__name__
)
def test_more_machines_take_no_more_questions(
    asked: Callable[[], Any], world: World, lobby: Machine
) -> None:
    cooled(world, lobby)
    kinds.save_kind(
        kind=lobby.kind, changes={"front_hides_label": True}, actor=world.owner, now=world.now
    )
    measure(world, lobby)
    use(world, lobby)

    def count() -> int:
        with CaptureQueriesContext(connection) as told:
            asked()
        return len(told)

    asked()  # makes the one row of settings
    before = count()
    for number in range(3):
        more = world.machine(f"MORE-{number}", lobby.kind, site=world.site(f"Site {number}"))
        measure(world, more)
        use(world, more)
    assert count() == before


def _file(sheet: labels.Sheet) -> Any:
    return BytesIO(as_pdf(signs([sheet], "Fennimore, 555 0100")).content)
