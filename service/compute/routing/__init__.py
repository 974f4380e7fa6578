"""Planning runs: which stops to visit, by whom, in what order, and why."""

from .change import Move, insert, moved
from .day import plan
from .problem import BadProblem, Capacity, Depot, Load, Matrix, Problem, Stop, Vehicle, Window
from .reasons import why
from .rest_of_day import replan
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
from .scoring import score
from .travel import (
    LoggedLeg,
    Multiplier,
    Place,
    TravelSettings,
    great_circle_m,
    learned_multiplier,
    matrix,
)
from .week import plan_week

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
    "LoggedLeg",
    "Matrix",
    "Move",
    "Multiplier",
    "Place",
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
    "TravelSettings",
    "Vehicle",
    "WeekPlan",
    "Window",
    "great_circle_m",
    "insert",
    "learned_multiplier",
    "matrix",
    "moved",
    "plan",
    "plan_week",
    "replan",
    "score",
    "why",
]
