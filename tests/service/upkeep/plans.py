"""Plans of maintenance for the tests of upkeep."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from fleet.machines.models import Machine
from people.models import Person
from service.upkeep.actions import plans, work
from service.upkeep.models import MaintenanceDone, MaintenancePlan
from tests.cast import NOW

Plans = Callable[..., MaintenancePlan]
LIST = ("Machine unplugged", "Coil brushed")


@pytest.fixture
def only_own_plans(db: None) -> None:
    """Without the plans that the service is delivered with."""
    MaintenancePlan.objects.all().delete()


@pytest.fixture
def plan(owner: Person, only_own_plans: None) -> Plans:
    """Makes a plan of every 90 days, as of 60 days before NOW, unless told otherwise."""

    def make(name: str = "Condenser coil", **changes: Any) -> MaintenancePlan:
        given = {
            "name": name,
            "trigger": "days",
            "every_days": 90,
            "checklist": list(LIST),
            "readings_asked": [{"what": "cabinet_c", "least": "0", "most": "5"}],
            "cautions": "Unplug it first.",
            "minutes": 20,
            "starts_on": (NOW - timedelta(days=60)).date(),
        }
        return plans.save_plan(changes=given | changes, actor=owner, now=NOW)

    return make


def do(plan: MaintenancePlan, machine: Machine, actor: Person, **changes: Any) -> MaintenanceDone:
    """All done, the cabinet at 3.5 °C, unless told otherwise."""
    given: dict[str, Any] = {
        "answers": [work.Answer(item, "done") for item in plan.checklist],
        "readings": [work.Taken("cabinet_c", Decimal("3.5"))],
        "at": NOW,
        "now": NOW,
        "minutes": 18,
    }
    return work.done(plan=plan, machine=machine, actor=actor, **(given | changes))
