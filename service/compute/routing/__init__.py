"""Planning runs: which stops to visit, by whom, in what order, and why."""

from .change import Move, insert, moved
from .day import plan
from .problem import BadProblem, Capacity, Depot, Load, Matrix, Problem, Stop, Vehicle, Window
from .replan import replan
from .results import (
    Because,
    Delay,
    Delta,
    Fault,
    Insertion,
    Left,
    Plan,
    PlannedRun,
    PlannedStop,
    Reason,
    Rule,
    RunScore,
    Score,
    WeekPlan,
)
from .road import Done, Road
from .score import score
from .why import why

__all__ = [
    "BadProblem",
    "Because",
    "Capacity",
    "Delay",
    "Delta",
    "Depot",
    "Done",
    "Fault",
    "Insertion",
    "Left",
    "Load",
    "Matrix",
    "Move",
    "Plan",
    "PlannedRun",
    "PlannedStop",
    "Problem",
    "Reason",
    "Road",
    "Rule",
    "RunScore",
    "Score",
    "Stop",
    "Vehicle",
    "WeekPlan",
    "Window",
    "insert",
    "moved",
    "plan",
    "replan",
    "score",
    "why",
]
