"""A changeover from plan to as-left."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction

from fleet.machines.actions import changeovers, kinds
from fleet.machines.models import Changeover, Machine, Position, Product, SetUp
from fleet.machines.queries import gates, sheets
from people import audit
from people.actions import business
from people.errors import Unacceptable
from people.models import Person
from tests.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def tea(lobby: Machine) -> Product:
    return Product.objects.get(name="Tea")


@pytest.fixture
def planned(world: World, lobby: Machine, tea: Product) -> Changeover:
    """Column 1 goes from cans two deep to bottles one deep."""
    return world.planned(world.column(lobby, "1"), tea)


@pytest.fixture
def in_hand(planned: Changeover, driver: Person, world: World) -> Changeover:
    return changeovers.take(changeover=planned, actor=driver, now=world.now)


class TestPlan:
    def test_computes_settings_and_keeps_the_whole_answer(self, planned: Changeover) -> None:
        # Neck 165 to 185 mm, its middle 175; notch 10 lies at 92 + 10 x 8 = 172, notch 11 at 180.
        assert (planned.deep, planned.front_setting, planned.rear_setting) == (1, 10, None)
        assert planned.program is not None
        assert planned.program.name == "run on"
        assert planned.price == Decimal("1.75")
        assert planned.computed["front"]["notch"] == 10
        assert planned.computed["reasons"]

    def test_holds_the_set_up_it_leaves(self, planned: Changeover) -> None:
        assert planned.from_set_up is not None
        assert planned.from_set_up.product.name == "Cola"

    def test_refuses_what_does_not_fit(self, world: World, lobby: Machine) -> None:
        jug = world.product("Jug", world.bottle("jug", diameter_mm=Decimal(110)))
        with pytest.raises(Unacceptable) as refused:
            world.planned(world.column(lobby, "1"), jug)
        assert refused.value.code == "does_not_fit"
        assert "lines.0.product" in refused.value.fields
        assert not Changeover.objects.exists()

    def test_refuses_what_is_not_measured_but_takes_settings_by_hand(
        self, world: World, lobby: Machine
    ) -> None:
        new = world.product("New", world.package("unmeasured", "bottle_without_neck"))
        column = world.column(lobby, "1")
        with pytest.raises(Unacceptable) as refused:
            world.planned(column, new)
        assert refused.value.code == "cannot_tell"
        by_hand = world.planned(column, new, deep=1, front_setting=12)
        assert by_hand.front_setting == 12

    def test_refuses_a_second_open_changeover(
        self, world: World, planned: Changeover, tea: Product
    ) -> None:
        with pytest.raises(changeovers.UnableToPlan) as refused:
            world.planned(planned.column, tea)
        assert refused.value.code == "column_in_changeover"

    def test_refuses_to_change_nothing(self, world: World, lobby: Machine, tea: Product) -> None:
        with pytest.raises(Unacceptable) as refused:
            world.planned(world.column(lobby, "2"), tea)
        assert refused.value.code == "nothing_changes"

    def test_a_plan_is_whole_or_nothing(self, world: World, lobby: Machine, tea: Product) -> None:
        jug = world.product("Jug", world.bottle("jug", diameter_mm=Decimal(110)))
        lines = [
            changeovers.PlannedLine(column=world.column(lobby, "1"), product=tea),
            changeovers.PlannedLine(column=world.column(lobby, "3"), product=jug),
        ]
        with pytest.raises(Unacceptable):
            changeovers.plan(
                purpose="both",
                planned_for=world.now.date(),
                lines=lines,
                actor=world.owner,
                now=world.now,
            )
        assert not Changeover.objects.exists()

    def test_settings_by_hand_need_their_depth(
        self, world: World, lobby: Machine, tea: Product
    ) -> None:
        with pytest.raises(Unacceptable) as refused:
            world.planned(world.column(lobby, "1"), tea, front_setting=12)
        assert set(refused.value.fields) == {"lines.0.deep"}

    def test_a_depth_of_none_is_refused_by_hand(
        self, world: World, lobby: Machine, tea: Product
    ) -> None:
        with pytest.raises(Unacceptable) as refused:
            world.planned(world.column(lobby, "1"), tea, deep=0)
        assert set(refused.value.fields) == {"lines.0.deep"}

    def test_by_hand_the_capacity_is_by_the_businesss_own_clearance(
        self, world: World, lobby: Machine
    ) -> None:
        """83 mm in 84 mm leaves 1 mm across, which only this business is content with."""
        wide = world.product("Wide", world.bottle("wide bottle", diameter_mm=Decimal(83)))
        business.change(changes={"side_clearance_mm": Decimal(1)}, actor=world.owner, now=world.now)
        computed = world.planned(world.column(lobby, "1"), wide)
        by_hand = world.planned(world.column(lobby, "2"), wide, deep=1, front_setting=10)
        assert by_hand.capacity == computed.capacity > 0


class TestKindChangedSince:
    """The position is measured anew, with fewer notches and less depth, after the plan."""

    @pytest.fixture(autouse=True)
    def _shorter(self, planned: Changeover) -> None:
        Position.objects.filter(pk=planned.column.position_id).update(
            front_notches=5, greatest_deep=1
        )

    def test_what_cannot_be_set_any_more_is_not_taken_in_hand(
        self, planned: Changeover, driver: Person, world: World
    ) -> None:
        with pytest.raises(changeovers.UnableToTake) as refused:
            changeovers.take(changeover=planned, actor=driver, now=world.now)
        assert refused.value.code == "plan_outdated"

    def test_its_sheet_can_still_be_read(self, planned: Changeover, world: World) -> None:
        Changeover.objects.filter(pk=planned.pk).update(deep=2)
        found = sheets.sheet(gates.changeover_for(world.owner, planned.pk))
        assert any("does not have" in step.text for step in found.steps)


class TestReplacement:
    def test_plans_every_column_that_holds_it_and_names_those_left_out(
        self, world: World, lobby: Machine, tea: Product
    ) -> None:
        cola = Product.objects.get(name="Cola")
        twin = world.machine("LOB-2", lobby.kind)
        world.set_up(world.column(twin, "1"), cola, deep=2, front_setting=20)
        narrow = world.machine(
            "NAR-1",
            world.kind("narrow stack"),
        )
        narrow.kind.positions.update(width_mm=Decimal(70))
        world.set_up(world.column(narrow, "1"), cola, deep=2, front_setting=20)
        found = changeovers.plan_replacement(
            old=cola,
            new=tea,
            purpose="no more cola",
            planned_for=world.now.date(),
            actor=world.owner,
            now=world.now,
        )
        assert found.plan is not None
        tags = {c.column.machine.asset_tag for c in found.plan.changeovers.all()}
        assert tags == {"LOB-1", "LOB-2"}
        assert [one.column.machine.asset_tag for one in found.left_out] == ["NAR-1"]
        assert "wide" in found.left_out[0].why or "width" in found.left_out[0].why

    def test_refuses_a_product_no_column_holds(self, world: World, tea: Product) -> None:
        water = world.product("Water", world.bottle("water bottle"))
        with pytest.raises(changeovers.UnableToPlan):
            changeovers.plan_replacement(
                old=water,
                new=tea,
                purpose="none",
                planned_for=world.now.date(),
                actor=world.owner,
                now=world.now,
            )


class TestComplete:
    def test_ends_the_old_set_up_and_begins_the_new_one(
        self, world: World, in_hand: Changeover
    ) -> None:
        done = world.complete(in_hand)
        old, new = done.from_set_up, done.to_set_up
        assert old is not None
        assert new is not None
        old.refresh_from_db()
        assert old.ends_at == new.starts_at == world.now
        assert new.ends_at is None
        assert (new.product.name, new.deep, new.front_setting) == ("Tea", 1, 10)
        assert new.source == SetUp.Source.CHANGEOVER

    def test_keeps_what_came_out_and_shows_the_picture(
        self, world: World, in_hand: Changeover
    ) -> None:
        cola = Product.objects.get(name="Cola")
        removed = [
            changeovers.Removed(cola, "good", 7),
            changeovers.Removed(cola, "damaged", 1),
            changeovers.Removed(cola, "out_of_date", 0),
        ]
        done = world.complete(in_hand, removed=removed)
        assert [(r.condition, r.count) for r in done.removed.order_by("condition")] == [
            ("damaged", 1),
            ("good", 7),
        ]
        assert done.column.selection is not None
        done.column.selection.refresh_from_db()
        assert done.column.selection.picture == "Tea picture"

    def test_asks_why_it_was_left_otherwise(self, world: World, in_hand: Changeover) -> None:
        left = changeovers.AsLeft(
            deep=1, front_setting=11, program=in_hand.program, price=in_hand.price
        )
        with pytest.raises(Unacceptable) as refused:
            world.complete(in_hand, as_left=left)
        assert refused.value.code == "mismatch_needs_reason"
        assert "front setting: 10 planned, 11 left" in str(refused.value)
        in_hand.refresh_from_db()
        assert in_hand.state == Changeover.State.IN_HAND
        done = world.complete(in_hand, as_left=left, mismatch_reason="sat better")
        assert [one["what"] for one in done.mismatches] == ["front_setting"]
        assert done.mismatch_reason == "sat better"

    @pytest.mark.parametrize(
        ("made", "passed", "field"), [(4, 5, "test_vends_passed"), (4, 3, "what_happened")]
    )
    def test_refuses_test_vends_that_do_not_add_up(
        self, world: World, in_hand: Changeover, made: int, passed: int, field: str
    ) -> None:
        with pytest.raises(Unacceptable) as refused:
            world.complete(in_hand, test_vends_made=made, test_vends_passed=passed)
        assert field in refused.value.fields

    def test_refuses_without_a_test_vend(self, world: World, in_hand: Changeover) -> None:
        with pytest.raises(changeovers.UnableToComplete) as refused:
            world.complete(in_hand, test_vends_made=0, test_vends_passed=0)
        assert refused.value.code == "no_test_vends"

    def test_refuses_a_notch_the_rail_has_not(self, world: World, in_hand: Changeover) -> None:
        left = changeovers.AsLeft(deep=1, front_setting=21, price=in_hand.price)
        with pytest.raises(Unacceptable) as refused:
            world.complete(in_hand, as_left=left, mismatch_reason="typed wrong")
        assert "0 to 20" in refused.value.fields["as_left.front_setting"]

    def test_must_be_in_hand(self, world: World, planned: Changeover) -> None:
        with pytest.raises(changeovers.UnableToComplete) as refused:
            world.complete(planned)
        assert refused.value.code == "not_in_hand"

    def test_names_the_set_up_it_ended_also_when_another_was_found_meanwhile(
        self, world: World, in_hand: Changeover
    ) -> None:
        cola = Product.objects.get(name="Cola")
        found = world.set_up(
            world.column(in_hand.column.machine, "1"),
            cola,
            front_setting=5,
            starts_at=world.now - timedelta(hours=1),
        )
        done = world.complete(in_hand)
        found.refresh_from_db()
        assert found.ends_at == world.now
        assert done.from_set_up == found

    def test_is_done_once(self, world: World, in_hand: Changeover) -> None:
        world.complete(in_hand)
        with pytest.raises(changeovers.UnableToComplete):
            world.complete(in_hand)

    def test_nothing_is_half_applied_when_the_last_step_fails(
        self, world: World, in_hand: Changeover
    ) -> None:
        """A failure after the set-ups are written takes them back."""
        in_hand.column.selection.delete()  # type: ignore[union-attr]
        with connection.cursor() as cursor, transaction.atomic():
            cursor.execute(
                "ALTER TABLE machines_removedproduct "
                "ADD CONSTRAINT cart_is_full CHECK (count < 100)"
            )
        cola = Product.objects.get(name="Cola")
        with pytest.raises(Exception, match="cart_is_full"), transaction.atomic():
            world.complete(in_hand, removed=[changeovers.Removed(cola, "good", 100)])
        in_hand.refresh_from_db()
        assert in_hand.state == Changeover.State.IN_HAND
        assert SetUp.objects.filter(column=in_hand.column).count() == 1

    def test_leaves_an_audit_entry_for_each_row(self, world: World, in_hand: Changeover) -> None:
        done = world.complete(in_hand)
        verbs = [entry.verb for entry in audit.entries_of(done)]
        assert verbs == ["complete changeover", "take changeover", "plan changeover"]
        assert done.from_set_up is not None
        assert audit.entries_of(done.from_set_up)[0].verb == "end set-up"


class TestAbandon:
    def test_leaves_the_column_as_it_was(self, world: World, in_hand: Changeover) -> None:
        gone = changeovers.abandon(
            changeover=in_hand, reason="wrong bottles came", actor=world.owner, now=world.now
        )
        assert gone.state == Changeover.State.ABANDONED
        current = in_hand.column.set_ups.get(ends_at__isnull=True)
        assert current.product.name == "Cola"

    def test_asks_why(self, world: World, in_hand: Changeover) -> None:
        with pytest.raises(Unacceptable):
            changeovers.abandon(changeover=in_hand, reason=" ", actor=world.owner, now=world.now)

    def test_not_after_the_end(self, world: World, in_hand: Changeover) -> None:
        done = world.complete(in_hand)
        with pytest.raises(changeovers.UnableToAbandon):
            changeovers.abandon(changeover=done, reason="late", actor=world.owner, now=world.now)


class TestLearning:
    def test_three_passed_changeovers_move_the_computed_setting(
        self, world: World, lobby: Machine
    ) -> None:
        """Left one notch farther out each time: the rail lies 8 mm nearer than it was measured."""
        cola = Product.objects.get(name="Cola")
        sport = world.product(
            "Sport",
            world.package(
                "sport bottle",
                "bottle_without_neck",
                length_mm=Decimal(178),
                diameter_mm=Decimal(70),
            ),
        )
        plain = world.planned(world.column(lobby, "1"), sport)
        changeovers.abandon(
            changeover=plain, reason="only to ask", actor=world.owner, now=world.now
        )
        for number in range(3):
            machine = world.machine(f"T-{number}", lobby.kind)
            column = world.column(machine, "1")
            world.set_up(column, cola, deep=2, front_setting=20)
            row = world.planned(column, sport)
            row = changeovers.take(changeover=row, actor=world.owner, now=world.now)
            left = changeovers.AsLeft(
                deep=1,
                front_setting=row.front_setting + 1,
                program=row.program,
                price=row.price,
            )
            world.complete(row, as_left=left, mismatch_reason="bound at the computed notch")
        # Another package in the same kind now starts from the learned offset.
        juice = world.product(
            "Juice",
            world.package(
                "juice bottle",
                "bottle_without_neck",
                length_mm=Decimal(170),
                diameter_mm=Decimal(70),
            ),
        )
        before = 170 + 1  # just beyond the cap
        measured = next(n for n in range(21) if 92 + 8 * n >= before)
        row = world.planned(world.column(lobby, "1"), juice)
        assert row.geometry_front == measured
        assert row.front_setting == measured + 1
        changeovers.abandon(changeover=row, reason="only to ask", actor=world.owner, now=world.now)
        # Measured anew, the rail lies there; what was learned must not be taken off once more.
        lobby.kind.positions.update(front_zero_mm=Decimal(92 - 8))
        row = world.planned(world.column(lobby, "1"), juice)
        assert row.front_setting == row.geometry_front == measured + 1

    def test_a_depth_of_ones_own_teaches_no_offset(self, world: World, lobby: Machine) -> None:
        """By geometry the cans lie two deep; set one deep by hand, they are held much nearer."""
        cola = Product.objects.get(name="Cola")
        row = world.planned(world.column(lobby, "1"), cola, deep=1, front_setting=5)
        # 92 + 5 x 8 = 132 mm: the first notch at least 122.2 + 6.35 = 128.55 mm from the beam.
        assert row.geometry_front == 5


def test_a_spiral_holds_its_products_upright_unless_told_otherwise(world: World) -> None:
    kind = kinds.save_kind(
        changes={"name": "spirals"},
        positions=[
            {
                "label": "A1",
                "style": "spiral",
                "width_mm": Decimal(80),
                "height_mm": Decimal(250),
                "turns": 8,
                "spiral_pitch_mm": Decimal(90),
            }
        ],
        actor=world.owner,
        now=world.now,
    )
    column = world.column(world.machine("SPI-1", kind), "A1")
    first, second = (
        world.product(name, world.can(f"{name} can", weight_g=Decimal(200)))
        for name in ("First", "Second")
    )
    assert world.set_up(column, first).orientation == SetUp.Orientation.UPRIGHT
    row = world.planned(column, second)
    row = changeovers.take(changeover=row, actor=world.owner, now=world.now)
    left = changeovers.AsLeft(deep=1, price=row.price)
    assert world.complete(row, as_left=left).mismatches == []


def test_nothing_is_found_at_a_moment_to_come(world: World, lobby: Machine) -> None:
    tea = Product.objects.get(name="Tea")
    with pytest.raises(Unacceptable) as refused:
        world.set_up(world.column(lobby, "1"), tea, starts_at=world.now + timedelta(minutes=1))
    assert set(refused.value.fields) == {"starts_at"}


def test_a_set_up_cannot_overlap_another_even_behind_the_actions_back(
    world: World, lobby: Machine
) -> None:
    """The exclusion constraint holds whoever writes."""
    current = SetUp.objects.filter(column__machine=lobby).first()
    assert current is not None
    current.pk = None
    current._state.adding = True
    current.starts_at += timedelta(days=1)
    with pytest.raises(Exception, match="set_up_one_at_a_time"), transaction.atomic():
        current.save()
