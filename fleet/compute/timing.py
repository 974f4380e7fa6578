"""What a depth program does with products loaded one or more deep. Times in seconds.

The motor turns at a constant rate: a full turn of the cradle takes `cycle_s` and releases the
products of a layer evenly, so `deep` products fall `cycle_s / deep` apart. With a drop sensor
the board stops the motor `run_on_s` after a drop, so the next vend starts that much further on.
Without one it turns a fixed share of a turn for each vend and never knows what fell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from fleet.compute.positions import Board, DepthProgram
from fleet.compute.results import ProgramOutlook, Reason, Risk, Value
from fleet.compute.rules import DEFAULT_RULES, Rules

# The shortest time told apart from none: as with lengths, above the rounding of a division.
SAME_S = 1e-9


def next_drop_s(program: DepthProgram, deep_loaded: int, *, drop_sensor: bool = True) -> float:
    """Seconds from the start of the next vend to its drop.

    At or below zero the next product falls while the motor still runs on after this one.
    """
    apart_s = program.cycle_s / deep_loaded
    return apart_s - program.run_on_s if drop_sensor else apart_s


def risk_of(program: DepthProgram, deep_loaded: int, board: Board, rules: Rules) -> Risk:
    """The risk of one program at one depth of load."""
    if not board.drop_sensor:
        if deep_loaded == program.deep:
            return Risk.NONE
        return Risk.TWO_FOR_ONE if deep_loaded > program.deep else Risk.NOTHING_DELIVERED
    wait_s = next_drop_s(program, deep_loaded)
    if wait_s <= SAME_S:
        return Risk.TWO_FOR_ONE
    if wait_s > board.vend_window_s + SAME_S:
        return Risk.FALSE_SOLD_OUT
    if wait_s < rules.least_rest_s - SAME_S:
        return Risk.DROPS_INTO_RUN_ON
    return Risk.NONE


def outlook(
    program: DepthProgram, deep_loaded: int, board: Board, rules: Rules = DEFAULT_RULES
) -> ProgramOutlook:
    """One program's next drop against the vend window, its risk and the reason."""
    wait_s = next_drop_s(program, deep_loaded, drop_sensor=board.drop_sensor)
    risk = risk_of(program, deep_loaded, board, rules)
    if not board.drop_sensor:
        share = deep_loaded / program.deep
    elif risk is Risk.TWO_FOR_ONE:
        apart_s = program.cycle_s / deep_loaded
        share = float(1 + math.floor((program.run_on_s + SAME_S) / apart_s))
    else:
        share = 1.0
    return ProgramOutlook(
        program=program.name,
        deep_programmed=program.deep,
        deep_loaded=deep_loaded,
        next_drop_s=wait_s,
        vend_window_s=board.vend_window_s,
        products_per_payment=share,
        risk=risk,
        reason=_reason(program, deep_loaded, board, risk, wait_s),
    )


def outlooks(
    board: Board, deep_loaded: int, rules: Rules = DEFAULT_RULES
) -> tuple[ProgramOutlook, ...]:
    """Every program of the board, in the board's order."""
    return tuple(outlook(program, deep_loaded, board, rules) for program in board.programs)


def rank(found: ProgramOutlook) -> int:
    """How a program is preferred: 3 safe and for this depth, 2 safe, 1 a near thing, 0 never."""
    if found.risk is Risk.NONE:
        return 3 if found.deep_programmed == found.deep_loaded else 2
    return 1 if found.risk is Risk.DROPS_INTO_RUN_ON else 0


def slack_s(found: ProgramOutlook) -> float:
    """Seconds to the nearer of the two failures, the run-on and the vend window."""
    return min(found.next_drop_s, found.vend_window_s - found.next_drop_s)


def recommended(found: Sequence[ProgramOutlook]) -> ProgramOutlook | None:
    """The safest program, the one meant for this depth first; None when none is safe."""
    usable = [one for one in found if rank(one) > 0]
    return max(usable, key=lambda one: (rank(one), slack_s(one)), default=None)


def _reason(program: DepthProgram, loaded: int, board: Board, risk: Risk, wait_s: float) -> Reason:
    values: dict[str, Value] = {
        "program": program.name,
        "deep_programmed": program.deep,
        "deep_loaded": loaded,
        "cycle_s": program.cycle_s,
        "run_on_s": program.run_on_s,
        "next_drop_s": wait_s,
        "vend_window_s": board.vend_window_s,
        "drop_sensor": board.drop_sensor,
    }
    return Reason(f"program_{risk.value}", _words(program, loaded, board, risk, wait_s), values)


def _words(program: DepthProgram, loaded: int, board: Board, risk: Risk, wait_s: float) -> str:
    if not board.drop_sensor:
        turn = f"Without a drop sensor each vend turns the cradle 1/{program.deep} of a turn"
        if risk is Risk.TWO_FOR_ONE:
            return f"{turn}, and loaded {loaded} deep more than one product falls: two for one."
        if risk is Risk.NOTHING_DELIVERED:
            return f"{turn}, and loaded {loaded} deep some payments deliver nothing."
        return f"{turn}, which drops one product at {loaded} deep."
    window = f"the vend window of {board.vend_window_s:g} s"
    if risk is Risk.TWO_FOR_ONE:
        apart_s = program.cycle_s / loaded
        return (
            f"The next product follows {apart_s:.1f} s after a drop, but the motor runs on for "
            f"{program.run_on_s:g} s: two products for one payment."
        )
    if risk is Risk.FALSE_SOLD_OUT:
        return (
            f"The next product needs {wait_s:.1f} s to the drop, past {window}: the selection "
            "is marked sold out while full, and the money returned."
        )
    if risk is Risk.DROPS_INTO_RUN_ON:
        return (
            f"The motor stops only {wait_s:.1f} s before the next product would fall: it may "
            "drop into the run-on."
        )
    return f"The next product drops {wait_s:.1f} s into the next vend, inside {window}."
