"""Products standing in the turns of a spiral. Lengths in mm."""

from __future__ import annotations

from fleet.compute.packages import Package
from fleet.compute.positions import SpiralPosition
from fleet.compute.results import Capacity, Fit, Margin, Reason, Verdict
from fleet.compute.rules import DEFAULT_RULES, Rules
from fleet.compute.units import SAME_MM, Units


def sizes_missing(package: Package) -> tuple[str, ...]:
    """The sizes a spiral asks for that are not measured."""
    needed: tuple[str, ...]
    if package.kind.is_round:
        needed = ("diameter_mm", "length_mm")
    else:
        needed = ("thickness_mm", "width_mm", "height_mm")
    return tuple(name for name in needed if getattr(package, name) is None)


def fit_spiral(
    position: SpiralPosition,
    package: Package,
    rules: Rules = DEFAULT_RULES,
    units: Units = Units.MILLIMETRES,
) -> Fit:
    """Whether a package stands in a spiral, and how many: one to a turn.

    Pitch against thickness with about 3 mm to spare, common practice, no published source;
    width against the lane, height against the shelf.
    """
    margins = _margins(position, package, rules)
    missing = sizes_missing(package)
    failed = [margin for margin in margins if not margin.met]
    if failed:
        return Fit(
            verdict=Verdict.DOES_NOT_FIT,
            position=position.label,
            package_kind=package.kind,
            margins=margins,
            to_measure=missing,
            reasons=tuple(_refusal(margin, units) for margin in failed),
        )
    if missing:
        return Fit(
            verdict=Verdict.CANNOT_TELL,
            position=position.label,
            package_kind=package.kind,
            margins=margins,
            to_measure=missing,
            reasons=(
                Reason(
                    "not_measured",
                    f"Measure first: {', '.join(name.removesuffix('_mm') for name in missing)}.",
                    {"count": len(missing)},
                ),
            ),
        )
    cautions = _cautions(position, package, rules, units)
    return Fit(
        verdict=Verdict.FITS_WITH_CAUTION if cautions else Verdict.FITS,
        position=position.label,
        package_kind=package.kind,
        deep=1,
        capacity=Capacity(
            units=position.turns,
            layers=1,
            deep=position.turns,
            halves=1,
            cradle_units=0,
            layer_pitch_mm=package.standing_height_mm or 0.0,
        ),
        margins=margins,
        reasons=_reasons(position, package, units),
        cautions=cautions,
    )


def _margins(position: SpiralPosition, package: Package, rules: Rules) -> tuple[Margin, ...]:
    asked = (
        (
            "pitch_clearance",
            "room in a turn of the spiral",
            position.pitch_mm,
            package.standing_thickness_mm,
            rules.pitch_clearance_mm,
        ),
        (
            "lane_clearance",
            "room across the lane, both sides together",
            position.lane_width_mm,
            package.standing_width_mm,
            rules.side_clearance_mm,
        ),
        (
            "head_clearance",
            "room above the product on the shelf",
            position.shelf_height_mm,
            package.standing_height_mm,
            rules.head_clearance_mm,
        ),
    )
    return tuple(
        Margin(name, text, room - size, least, None, room - size >= least - SAME_MM)
        for name, text, room, size, least in asked
        if size is not None
    )


def _refusal(margin: Margin, units: Units) -> Reason:
    least = margin.least_mm or 0.0
    return Reason(
        f"too_little_{margin.name}",
        f"Too little {margin.text}: {units.length(margin.value_mm)}, where "
        f"{units.length(least)} is the least.",
        {"value_mm": margin.value_mm, "least_mm": least},
    )


def _reasons(position: SpiralPosition, package: Package, units: Units) -> tuple[Reason, ...]:
    room = position.pitch_mm - (package.standing_thickness_mm or 0.0)
    one_each = Reason(
        "spiral_capacity",
        f"One product stands in each turn with {units.length(room)} to spare: "
        f"{position.turns} turns hold {position.turns}.",
        {"turns": position.turns, "room_mm": room},
    )
    if package.kind.is_round:
        return (
            one_each,
            Reason("stands_upright", f"A {package.kind.words} stands upright in a spiral."),
        )
    return (one_each,)


def _cautions(
    position: SpiralPosition, package: Package, rules: Rules, units: Units
) -> tuple[Reason, ...]:
    found = []
    room = position.pitch_mm - (package.standing_thickness_mm or 0.0)
    if room > rules.pitch_most_clearance_mm + SAME_MM:
        found.append(
            Reason(
                "pitch_too_loose",
                f"The turn leaves {units.length(room)} beside the product; it may lean or lie "
                "down and not fall. Use a finer spiral where there is one.",
                {"room_mm": room, "most_mm": rules.pitch_most_clearance_mm},
            )
        )
    height = package.standing_height_mm or 0.0
    heavy = package.weight_g is not None and package.weight_g >= rules.heavy_g
    tall = height >= rules.tall_mm - SAME_MM
    if heavy or tall:
        found.append(
            Reason(
                "wants_pusher",
                f"A {'heavy' if heavy else 'tall'} product may hang in the spiral: give it a "
                "larger pitch or a pusher, and test vend it full and nearly empty.",
                {"weight_g": package.weight_g, "height_mm": height},
            )
        )
    return tuple(found)
