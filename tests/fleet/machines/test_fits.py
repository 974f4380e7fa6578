"""What fits where, asked of the business's own rows."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.compute.results import Source, Verdict
from fleet.machines.actions import charts
from fleet.machines.models import Machine, Product
from fleet.machines.queries import fits, gates, sheets
from people.errors import NotAllowed, NotFound
from people.models import Person
from tests.world import World

pytestmark = pytest.mark.django_db


def test_a_can_lies_two_deep_fully_forward(world: World, lobby: Machine) -> None:
    """Two deep for cans, spacers fully forward, a quarter inch of play: common practice."""
    found = fits.fit_for(
        world.column(lobby, "1").position, Product.objects.get(name="Cola").package
    )
    assert found.verdict is Verdict.FITS
    assert (found.deep, found.program) == (2, "stop")
    assert found.front is not None
    assert found.front.notch == 20
    assert found.front.said.startswith("fully forward")
    assert found.front.play_mm == pytest.approx(252 - 2 * 122.2)


def test_a_measured_chart_entry_wins(world: World, lobby: Machine) -> None:
    position = world.column(lobby, "1").position
    tea = Product.objects.get(name="Tea")
    charts.save_chart_entry(
        position=position,
        package=tea.package,
        changes={"source": "measured", "deep": 1, "front_setting": 11},
        actor=world.owner,
        now=world.now,
    )
    found = fits.fit_for(position, tea.package)
    assert found.front is not None
    assert (found.front.notch, found.front.source) == (11, Source.MEASURED)


def test_best_verdict_first(world: World, lobby: Machine) -> None:
    world.product("Jug", world.bottle("jug", diameter_mm=Decimal(110)))
    found = fits.what_fits(world.column(lobby, "1"))
    assert [one.product.name for one in found] == ["Cola", "Tea", "Jug"]
    assert found[-1].fit.verdict is Verdict.DOES_NOT_FIT


def test_where_it_could_go_says_what_is_there_now(world: World, lobby: Machine) -> None:
    found = fits.where_fits(Product.objects.get(name="Tea")).columns
    assert len(found) == 4
    held = {one.column.position.label: one.set_up.product.name for one in found if one.set_up}
    assert held == {"1": "Cola", "2": "Tea"}


def test_where_it_could_go_best_first_counted_and_cut(world: World, lobby: Machine) -> None:
    narrow = world.kind("narrow stack")
    narrow.positions.update(width_mm=Decimal(70))
    world.machine("AAA-1", narrow)
    found = fits.where_fits(Product.objects.get(name="Tea"), limit=5)
    verdicts = [one.fit.verdict for one in found.columns]
    assert verdicts == sorted(verdicts, key=fits.ORDER.index)
    assert verdicts[-1] is Verdict.DOES_NOT_FIT  # though its asset tag would come first
    assert sum(found.counts.values()) == 8
    assert found.counts[Verdict.DOES_NOT_FIT] == 4
    only = fits.where_fits(
        Product.objects.get(name="Tea"), search="AAA", verdict=Verdict.DOES_NOT_FIT
    )
    assert {one.column.machine.asset_tag for one in only.columns} == {"AAA-1"}


def test_the_number_of_queries_does_not_grow_with_the_fleet(world: World, lobby: Machine) -> None:
    tea = Product.objects.select_related("package").get(name="Tea")
    with CaptureQueriesContext(
        connection,
    ) as small:
        fits.where_fits(tea)
    for number in range(5):
        world.machine(f"M-{number}", lobby.kind)
    with CaptureQueriesContext(connection) as large:
        assert len(fits.where_fits(tea).columns) == 24
    assert [q["sql"][:60] for q in large] == [q["sql"][:60] for q in small]


def test_the_sheet_says_all_a_hand_needs(world: World, lobby: Machine) -> None:
    row = world.planned(world.column(lobby, "1"), Product.objects.get(name="Tea"))
    page = sheets.sheet(gates.changeover_for(world.owner, row.pk))
    assert page.before is not None
    assert (page.before.product, page.after.product) == ("Cola", "Tea")
    codes = [step.code for step in page.steps]
    assert codes == [
        "empty", "set_front", "check_neck", "program", "price", "picture", "fill", "test", "note",
    ]  # fmt: skip
    front = page.steps[1]
    assert (front.setting, front.changes) == ("10", True)
    assert "was 20" in front.text
    assert page.cautions[-1].code == "manual_first"
    assert page.asked.passes == row.test_vends_asked


class TestGates:
    def test_what_is_missing_and_what_is_not_yours_look_alike(
        self, lobby: Machine, no_role: Person, driver: Person
    ) -> None:
        with pytest.raises(NotFound) as not_yours:
            gates.machine_for(no_role, lobby.pk)
        with pytest.raises(NotFound) as missing:
            gates.machine_for(driver, 10**9)
        assert str(not_yours.value).split()[:4] == str(missing.value).split()[:4]

    def test_a_driver_sees_a_machine_and_does_not_change_it(
        self, lobby: Machine, driver: Person, dispatcher: Person
    ) -> None:
        assert gates.machine_for(driver, lobby.pk) == lobby
        with pytest.raises(NotAllowed):
            gates.machine_for(driver, lobby.pk, write=True)
        assert gates.machine_for(dispatcher, lobby.pk, write=True) == lobby
