"""The evaluator of plans: figures by hand, and every rule that a plan can break."""

from dataclasses import replace

import pytest

from service.compute.routing import (
    Capacity,
    Done,
    Load,
    Plan,
    PlannedRun,
    PlannedStop,
    Road,
    Rule,
    Stop,
    Window,
    score,
)
from tests.service.compute.routing.days import HOUR, small, van

EIGHT = 8 * HOUR
# One stop 10 km (1,000 s) away: out at 8:00, there 1,800 s, back at 8:00 + 3,800 s.
STOP = Stop("mill", 1, 1_800, prize=5_000)
VISIT = PlannedStop("mill", EIGHT + 1_000, EIGHT + 1_000, EIGHT + 2_800, 1_000, 10_000)
RUN = PlannedRun("van", EIGHT, EIGHT + 3_800, (VISIT,))


def rules(problem, *runs: PlannedRun, road: Road | None = None) -> set[Rule]:
    return {fault.rule for fault in score(problem, Plan(runs), road).faults}


def test_what_a_run_costs_and_earns() -> None:
    judged = score(small(STOP), Plan((RUN,)))
    # 20 km at 0.50 are 10.00; 3,800 s at 18.00 an hour are 19.00.
    assert judged.cost == 1_000 + 1_900
    assert judged.gain == 5_000 - 2_900
    assert (judged.drive_m, judged.drive_s, judged.work_s) == (20_000, 2_000, 3_800)
    assert judged.runs[0].wait_s == 0
    assert judged.faults == ()


def test_overtime_is_paid_beside_the_hours() -> None:
    short = van(shift_s=2_000, overtime_s=2_000, overtime_cost_per_hour=900)
    judged = score(small(STOP, vehicles=(short,)), Plan((RUN,)))
    assert judged.overtime_s == 1_800
    assert judged.cost == 1_000 + 1_900 + 450
    assert judged.faults == ()


def test_prizes_left_are_told() -> None:
    assert score(small(STOP), Plan(())).left_prizes == 5_000


@pytest.mark.parametrize(
    ("stop", "vehicle", "rule"),
    [
        ({"windows": (Window(EIGHT + 1_001, 12 * HOUR),)}, {}, Rule.WINDOW),
        ({"windows": (Window(EIGHT, EIGHT + 2_799),)}, {}, Rule.WINDOW),
        ({"skills": ("cold",)}, {"skills": ("keys",)}, Rule.SKILL),
        ({"load": Load(cases=3)}, {"capacity": Capacity(cases=2)}, Rule.CAPACITY),
        ({"load": Load(weight_g=2_001)}, {"capacity": Capacity(weight_g=2_000)}, Rule.CAPACITY),
        ({"load": Load(volume_ml=9)}, {"capacity": Capacity(volume_ml=8)}, Rule.CAPACITY),
        ({}, {"shift_s": 3_000, "overtime_s": 799}, Rule.SHIFT),
        ({}, {"ends_s": EIGHT + 3_799}, Rule.SHIFT),
        ({}, {"starts_s": EIGHT + 1}, Rule.SHIFT),
        ({"service_s": 1_801}, {}, Rule.TRAVEL),
    ],
)
def test_a_broken_rule_is_found(stop: dict, vehicle: dict, rule: Rule) -> None:
    problem = small(replace(STOP, **stop), vehicles=(van(**vehicle),))
    assert rules(problem, RUN) == {rule}


def test_the_edges_of_rules_are_kept() -> None:
    exact = replace(
        STOP,
        windows=(Window(0, 60), Window(EIGHT + 1_000, EIGHT + 2_800)),
        load=Load(9, 9, 9),
        skills=("cold",),
    )
    vehicle = van(
        starts_s=EIGHT,
        ends_s=EIGHT + 3_800,
        shift_s=3_800,
        capacity=Capacity(9, 9, 9),
        skills=("cold",),
    )
    assert rules(small(exact, vehicles=(vehicle,)), RUN) == set()


def test_a_vehicle_cannot_be_there_sooner_than_the_road_allows() -> None:
    soon = replace(RUN, stops=(replace(VISIT, arrives_s=EIGHT + 999),))
    assert rules(small(STOP), soon) == {Rule.TRAVEL}
    assert rules(small(STOP), replace(RUN, ends_s=RUN.ends_s - 1)) == {Rule.TRAVEL}


def test_a_must_go_stop_that_is_missing() -> None:
    judged = score(small(replace(STOP, must_go="agreed weekly")), Plan(()))
    assert [(fault.rule, fault.stop) for fault in judged.faults] == [(Rule.MUST_GO, "mill")]
    assert "agreed weekly" in judged.faults[0].detail


def test_what_is_named_twice_or_unknown() -> None:
    problem = small(STOP, vehicles=(van("van"), van("other")))
    assert rules(problem, RUN, replace(RUN, vehicle="other")) == {Rule.TWICE}
    assert rules(problem, RUN, replace(RUN, stops=())) == {Rule.TWICE}
    assert rules(problem, replace(RUN, vehicle="lorry")) == {Rule.UNKNOWN}
    strange = replace(VISIT, stop="moon")
    assert Rule.UNKNOWN in rules(problem, replace(RUN, stops=(strange,)))


def test_what_is_done_is_taken_as_it_was() -> None:
    closed = replace(STOP, windows=(Window(0, EIGHT),))
    road = Road(done=(Done("mill", VISIT.arrives_s, VISIT.leaves_s),))
    assert rules(small(closed), RUN) == {Rule.WINDOW}
    assert rules(small(closed), RUN, road=road) == set()
