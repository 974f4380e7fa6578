"""Plans of maintenance: what is accepted, and what a change of them does."""

from typing import Any

import pytest

from fleet.machines.models import Machine
from people.errors import Unacceptable
from people.models import Person
from service.upkeep.actions import plans
from service.upkeep.asked import asked_of
from service.upkeep.models import MaintenancePlan
from service.upkeep.usual import USUAL
from tests.cast import NOW
from tests.service.upkeep.plans import Plans
from tests.world import World


def test_the_plans_that_come_with_the_service_can_be_saved(owner: Person) -> None:
    rows = MaintenancePlan.objects.order_by("pk")
    assert [row.name for row in rows] == [one["name"] for one in USUAL]
    for row in rows:
        # As somebody who opens the page and saves it finds out.
        plans.save_plan(plan=row, changes=USUAL[row.pk - rows[0].pk], actor=owner, now=NOW)
        assert row.grounds.endswith("The maker's manual goes first.")


def test_another_trigger_clears_what_set_it_off_before(plan: Plans, owner: Person) -> None:
    coil = plan()
    changed = plans.save_plan(
        plan=coil,
        changes={"trigger": "season", "season_days": ["10-15", "05-01", "05-01"]},
        actor=owner,
        now=NOW,
    )
    assert (changed.every_days, changed.season_days) == (None, ["05-01", "10-15"])


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"every_days": None}, ""),
        ({"every_vends": 5}, ""),
        ({"every_days": 0}, "every_days"),
        ({"trigger": "season", "every_days": None, "season_days": ["31-12"]}, "season_days"),
        ({"trigger": "season", "every_days": None}, ""),
        ({"checklist": ["Coil brushed", "Coil  brushed"]}, "checklist"),
        ({"checklist": [f"item {n}" for n in range(31)]}, "checklist"),
        ({"readings_asked": [{"what": "mood"}]}, "readings_asked"),
        ({"readings_asked": ["cabinet_c"]}, "readings_asked"),
        ({"readings_asked": [{"what": "room_c"}] * 2}, "readings_asked"),
        ({"readings_asked": [{"what": "room_c", "least": "9", "most": "1"}]}, "readings_asked"),
        ({"readings_asked": [{"what": "room_c", "least": "cold"}]}, "readings_asked"),
        ({"readings_asked": [{"what": "room_c", "usual": "9"}]}, "readings_asked"),
        ({"minutes": 0}, "minutes"),
    ],
)
def test_plans_that_cannot_be(plan: Plans, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(Unacceptable) as refused:
        plan(**changes)
    assert field in refused.value.fields or (field == "" and refused.value.fields)
    assert not MaintenancePlan.objects.exists()


def test_a_name_is_used_once(plan: Plans) -> None:
    plan()
    with pytest.raises(Unacceptable, match="name"):
        plan()


def test_who_is_responsible_works_at_machines(plan: Plans, accountant: Person) -> None:
    with pytest.raises(Unacceptable) as refused:
        plan(responsible=accountant)
    assert list(refused.value.fields) == ["responsible"]


def test_own_terms_only_where_the_plan_applies(
    plan: Plans, lobby: Machine, world: World, owner: Person
) -> None:
    other = world.machine("HALL-2", world.kind("snack tower"))
    coil = plan(machine=lobby)
    with pytest.raises(Unacceptable, match="not for HALL-2 anyway"):
        plans.save_own_terms(
            plan=coil,
            machine=other,
            changes={"every_days": 5, "why": "dust"},
            actor=owner,
            now=NOW,
        )


@pytest.mark.parametrize(
    "changes",
    [
        {"why": "says nothing"},
        {"every_days": 5, "every_vends": 5, "why": "says two things"},
        {"every_days": 5, "left_out": True, "why": "says both"},
        {"every_days": 5, "why": ""},
    ],
)
def test_own_terms_say_one_thing_and_why(
    plan: Plans, lobby: Machine, owner: Person, changes: dict[str, Any]
) -> None:
    with pytest.raises(Unacceptable):
        plans.save_own_terms(plan=plan(), machine=lobby, changes=changes, actor=owner, now=NOW)


def test_what_is_asked_reads_back() -> None:
    (asked,) = asked_of([{"what": "cabinet_c", "least": "0", "most": None}])
    assert (asked.words, asked.unit) == ("temperature in the cabinet", "°C")
