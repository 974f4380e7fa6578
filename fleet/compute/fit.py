"""Does this package go in this position, how is the column set for it, and why?

The package's length decides how many lie end to end between the beam and the spacers; that and
the rails decide the settings; the depth decides the program; width, height and depth together
the capacity. Lengths in mm, times in seconds.
"""

from __future__ import annotations

from collections.abc import Sequence

from fleet.compute.candidates import candidates_for
from fleet.compute.charts import ChartEntry
from fleet.compute.choice import Chosen, choose, compare
from fleet.compute.crosswise import bags_do_not_stack, lie_across
from fleet.compute.packages import Package, PackageKind
from fleet.compute.packing import Layers
from fleet.compute.positions import Board, Position, SpiralPosition, StackPosition
from fleet.compute.results import Capacity, Fit, ProgramOutlook, Reason, Risk, Verdict
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.spirals import fit_spiral
from fleet.compute.timing import outlooks, recommended
from fleet.compute.units import Units


def fit(
    position: Position,
    package: Package,
    board: Board,
    rules: Rules = DEFAULT_RULES,
    *,
    charts: Sequence[ChartEntry] = (),
    units: Units = Units.MILLIMETRES,
) -> Fit:
    """The whole answer for one package in one position.

    `charts` are the entries known for this very package and position. `units` changes only the
    words; values are in mm. Sizes that are not measured give `cannot_tell` and are named in
    `to_measure`, unless what is known already rules the package out.
    """
    if isinstance(position, SpiralPosition):
        return fit_spiral(position, package, rules, units)
    return _fit_stack(position, package, board, rules, charts=charts, units=units)


def _fit_stack(
    position: StackPosition,
    package: Package,
    board: Board,
    rules: Rules,
    *,
    charts: Sequence[ChartEntry],
    units: Units,
) -> Fit:
    if package.kind is PackageKind.BAG:
        return Fit(
            verdict=Verdict.DOES_NOT_FIT,
            position=position.label,
            package_kind=package.kind,
            reasons=(bags_do_not_stack(),),
        )
    across = lie_across(position, package, rules, units)
    candidates = candidates_for(position, package, rules, units)
    missing = across.to_measure
    reasons = across.refusals
    chosen: Chosen | None = None
    chart_cautions: tuple[Reason, ...] = ()
    if package.length_mm is None:
        missing = (*missing, "length_mm")
    else:
        chosen, chart_cautions = choose(
            position, package, candidates, charts, rules=rules, units=units
        )
        if chosen is None:
            unknown = tuple(dict.fromkeys(n for one in candidates for n in one.to_measure))
            missing = (*missing, *unknown)
            if not unknown:
                reasons = (*reasons, *(r for one in candidates for r in one.reasons))
    refused = bool(across.refusals) or (bool(reasons) and chosen is None)
    if refused or missing or chosen is None or across.layers is None:
        compared, _ = compare(position, None, None, charts)
        return Fit(
            verdict=Verdict.DOES_NOT_FIT if refused else Verdict.CANNOT_TELL,
            position=position.label,
            package_kind=package.kind,
            margins=across.margins,
            candidates=candidates,
            charts=compared,
            to_measure=missing,
            reasons=reasons if refused else (_measure_first(missing),),
            cautions=chart_cautions,
        )
    programs = outlooks(board, chosen.deep, rules)
    program = recommended(programs)
    capacity = _capacity(position, across.layers, chosen.deep)
    compared, label_cautions = compare(
        position, chosen, None if program is None else program.program, charts
    )
    cautions = (
        *across.cautions,
        *chosen.cautions,
        *chart_cautions,
        *label_cautions,
        *_program_cautions(board, chosen.deep, program),
    )
    return Fit(
        verdict=Verdict.FITS_WITH_CAUTION if cautions else Verdict.FITS,
        position=position.label,
        package_kind=package.kind,
        deep=chosen.deep,
        front=chosen.front,
        rear=chosen.rear,
        capacity=capacity,
        program=None if program is None else program.program,
        programs=programs,
        margins=(*across.margins, *chosen.margins),
        candidates=candidates,
        charts=compared,
        reasons=(
            *chosen.reasons,
            _holds(capacity, units),
            *(() if program is None else (_use(program),)),
        ),
        cautions=cautions,
    )


def _capacity(position: StackPosition, layers: Layers, deep: int) -> Capacity:
    halves = len(position.halves())
    return Capacity(
        units=(layers.count + position.cradle_units) * deep * halves,
        layers=layers.count,
        deep=deep,
        halves=halves,
        cradle_units=position.cradle_units,
        layer_pitch_mm=layers.pitch_mm,
    )


def _holds(capacity: Capacity, units: Units) -> Reason:
    cradle = f" and {capacity.cradle_units} in the cradle" if capacity.cradle_units else ""
    halves = ", in each of two halves" if capacity.halves == 2 else ""
    return Reason(
        "stack_capacity",
        f"Holds {capacity.units}: {capacity.layers} layers of {capacity.deep} deep, each "
        f"{units.length(capacity.layer_pitch_mm)} above the last{cradle}{halves}.",
        {
            "units": capacity.units,
            "layers": capacity.layers,
            "deep": capacity.deep,
            "halves": capacity.halves,
            "cradle_units": capacity.cradle_units,
            "layer_pitch_mm": capacity.layer_pitch_mm,
        },
    )


def _use(program: ProgramOutlook) -> Reason:
    return Reason(
        "program_to_use",
        f"Program the board for {program.program}. {program.reason.text}",
        dict(program.reason.values),
    )


def _measure_first(missing: Sequence[str]) -> Reason:
    words = [name.removesuffix("_mm").replace("_", " ") for name in missing]
    return Reason(
        "not_measured",
        f"Measure the package first: {', '.join(words)}.",
        {"count": len(missing)},
    )


def _program_cautions(
    board: Board, deep: int, program: ProgramOutlook | None
) -> tuple[Reason, ...]:
    if not board.programs:
        return (
            Reason(
                "no_program_recorded",
                f"No depth program is recorded for this kind: set the board for {deep} deep by "
                "the maker's manual, and test vend for two at once and for a false sold-out.",
                {"deep": deep},
            ),
        )
    if program is None:
        return (
            Reason(
                "no_program_safe",
                f"None of the recorded depth programs is safe at {deep} deep; see what each "
                "would do.",
                {"deep": deep},
            ),
        )
    if program.risk is Risk.DROPS_INTO_RUN_ON:
        return (program.reason,)
    return ()
