"""`compute runs`: which stops to visit on a day, by whom, in what order, and why."""

from dataclasses import dataclass

from pydantic.dataclasses import dataclass as checked

from service.compute.routing import (
    BadProblem,
    Depot,
    Matrix,
    Place,
    Plan,
    Problem,
    Reason,
    Score,
    Stop,
    TravelSettings,
    Vehicle,
    matrix,
    plan,
    score,
    why,
)

from .asking import ASKED_STRICTLY, BadQuestion, Computation, Fault


@checked(frozen=True, config=ASKED_STRICTLY)
class RunsQuestion:
    """A day to plan: seconds after midnight, minor units of money, metres.

    Either `matrix` or `places`: a stop's and a depot's `place` counts from 0 in the one that is
    given. Between places the way is a great circle made longer, as `travel` says.
    """

    stops: tuple[Stop, ...]
    vehicles: tuple[Vehicle, ...]
    depots: tuple[Depot, ...]
    matrix: Matrix | None = None
    places: tuple[Place, ...] = ()
    travel: TravelSettings = TravelSettings()
    multiplier: float = 1.0
    seed: int = 0
    iterations: int | None = None


@dataclass(frozen=True)
class RunsAnswer:
    """The plan, why each stop is in it or out, and the plan judged by an evaluator of its own."""

    plan: Plan
    reasons: tuple[Reason, ...]
    score: Score
    travel: str


def _runs(question: RunsQuestion) -> RunsAnswer:
    if (question.matrix is None) == (not question.places):
        detail = "Give either a matrix or places, and not both."
        raise BadQuestion((Fault("/places", detail, "matrix_or_places"),))
    try:
        problem = Problem(
            question.stops,
            question.vehicles,
            question.depots,
            question.matrix or matrix(question.places, question.travel, question.multiplier),
            question.seed,
            question.iterations,
        )
    except BadProblem as error:
        raise BadQuestion((Fault("", str(error), "bad_problem"),)) from error
    made = plan(problem)
    return RunsAnswer(
        made, tuple(why(problem, made).values()), score(problem, made), problem.matrix.basis
    )


RUNS = Computation(
    "runs",
    "Which stops to visit on a day, by which vehicle, in what order, and why.",
    RunsQuestion,
    RunsAnswer,
    _runs,
)
