"""Which notch a plate or a pair of spacers goes to. Lengths in mm from the centre beam.

Products lie with their base against the beam and their cap outward, so `deep` of them end at
`deep x length`, and everything farther out than that is play.
"""

from __future__ import annotations

from dataclasses import dataclass

from fleet.compute.packages import Package, PackageKind
from fleet.compute.positions import Half
from fleet.compute.rails import End, Rail
from fleet.compute.results import Hold, Margin, Reason, Setting, Source
from fleet.compute.rules import Rules
from fleet.compute.units import SAME_MM, Units
from fleet.compute.words import said

NECK_SIZES = ("neck_from_mm", "neck_to_mm")


@dataclass(frozen=True, slots=True)
class Load:
    """`deep` of a package lying end to end, each `length_mm` long."""

    package: Package
    length_mm: float
    deep: int

    @property
    def reach_mm(self) -> float:
        """Where the last product ends when all lie against the beam."""
        return self.deep * self.length_mm


class NoNotchFits(Exception):
    """Every notch of a rail binds the products or holds them too loosely; `reason` says which."""

    def __init__(self, reason: Reason) -> None:
        super().__init__(reason.text)
        self.reason = reason


def first_at_or_beyond(rail: Rail, need_mm: float) -> int | None:
    """The nearest notch to the beam that lies at least `need_mm` from it."""
    for notch in rail.outward():
        if rail.distance_mm(notch) >= need_mm - SAME_MM:
            return notch
    return None


def neck_notch(rail: Rail, package: Package, rules: Rules) -> int | None:
    """The notch in the neck nearest its middle, clear of the body and of the cap; else None.

    Of two equally near the one toward the body, which leaves the products less play.
    """
    neck_from, neck_to = package.neck_from_mm, package.neck_to_mm
    if neck_from is None or neck_to is None:
        return None
    middle = (neck_from + neck_to) / 2
    nearest = neck_from + rules.neck_margin_mm - SAME_MM
    farthest = neck_to - rules.neck_margin_mm + SAME_MM
    off = {
        notch: abs(rail.distance_mm(notch) - middle)
        for notch in rail.outward()
        if nearest <= rail.distance_mm(notch) <= farthest
    }
    least = min(off.values(), default=0.0)
    return next((notch for notch, away in off.items() if away <= least + SAME_MM), None)


def neck_is_usable(package: Package, rules: Rules) -> bool:
    """Whether the neck is enough thinner than the body for a spacer to hold by it.

    A neck whose diameter has not been measured is taken to be.
    """
    if package.neck_diameter_mm is None or package.diameter_mm is None:
        return True
    step = package.diameter_mm - package.neck_diameter_mm
    return step >= rules.neck_least_step_mm - SAME_MM


def holds_by_neck(end: End, package: Package, deep: int, rules: Rules) -> bool:
    """Whether the front pair should go in the neck: one deep, and a neck that can be used.

    Deeper, the spacers would hold only the outermost bottle, so they go at its cap instead.
    """
    return (
        end is End.FRONT
        and deep == 1
        and package.kind is PackageKind.NECKED_BOTTLE
        and neck_is_usable(package, rules)
    )


def neck_sizes_missing(package: Package) -> tuple[str, ...]:
    """The neck's sizes that are not measured."""
    return tuple(name for name in NECK_SIZES if getattr(package, name) is None)


def plate_hold(end: End, package: Package) -> Hold:
    """What spacers outside the neck hold by: front pairs a bottle's cap, all else the end."""
    bottles = (PackageKind.NECKED_BOTTLE, PackageKind.BOTTLE_WITHOUT_NECK)
    return Hold.CAP if end is End.FRONT and package.kind in bottles else Hold.END


def least_play_mm(hold: Hold, rules: Rules) -> float:
    """The play a plate must leave: just beyond a cap it holds by, else the usual."""
    return rules.cap_least_mm if hold is Hold.CAP else rules.least_play_mm


def find_setting(
    end: End, half: Half, load: Load, rules: Rules, units: Units
) -> tuple[Setting, tuple[Margin, ...], tuple[Reason, ...], tuple[Reason, ...]]:
    """The setting of one half for a load, with its margins, reasons and cautions.

    Front: in the neck of a bottle one deep; at the cap of other bottles. Cans two deep or more:
    fully forward, and the rear plate fully back, where that leaves the right play. All else:
    the first notch that leaves the least play. All of it common practice, no published source.
    Raises NoNotchFits.
    """
    rail, package, deep = half.rail, load.package, load.deep
    cautions: tuple[Reason, ...] = ()
    if holds_by_neck(end, package, deep, rules):
        notch = neck_notch(rail, package, rules)
        if notch is not None:
            setting, margins = in_the_neck(end, rail, notch, package, rules)
            return setting, margins, (_neck_reason(setting, margins, units),), ()
        cautions = (_no_notch_in_neck(package, units),)
    elif end is End.FRONT and deep == 1 and package.kind is PackageKind.NECKED_BOTTLE:
        cautions = (_neck_too_thick(package, rules, units),)
    hold = plate_hold(end, package)
    least = least_play_mm(hold, rules)
    reach = load.reach_mm
    notch = _plate_notch(rail, load, least, rules)
    if notch is None:
        raise NoNotchFits(_binds(end, rail, reach, least, units))
    play = rail.distance_mm(notch) - reach
    if play > rules.most_play_mm + SAME_MM:
        raise NoNotchFits(
            _too_loose(end, rail, notch, rail.distance_mm(notch) - reach, rules=rules, units=units)
        )
    setting = setting_at(end, rail, notch, play, hold=hold)
    margin = play_margin(end, play, least, rules.most_play_mm)
    return setting, (margin,), (_placed(setting, deep, units),), cautions


def setting_at(
    end: End,
    rail: Rail,
    notch: int,
    play_mm: float,
    *,
    hold: Hold,
    source: Source = Source.COMPUTED,
) -> Setting:
    """A setting at a notch, said as a hand finds it."""
    return Setting(
        end=end,
        notch=notch,
        distance_mm=rail.distance_mm(notch),
        said=said(rail, end, notch),
        play_mm=play_mm,
        hold=hold,
        source=source,
    )


def play_margin(end: End, play_mm: float, least_mm: float, most_mm: float) -> Margin:
    """The play in one half against its band."""
    return Margin(
        name=f"{end.value}_play",
        text=f"play in the {end.value} half",
        value_mm=play_mm,
        least_mm=least_mm,
        most_mm=most_mm,
        met=least_mm - SAME_MM <= play_mm <= most_mm + SAME_MM,
    )


def _plate_notch(rail: Rail, load: Load, least: float, rules: Rules) -> int | None:
    if load.package.kind is PackageKind.CAN and load.deep >= 2:
        play = rail.distance_mm(rail.outermost) - load.reach_mm
        if least - SAME_MM <= play <= rules.most_play_mm + SAME_MM:
            return rail.outermost
    return first_at_or_beyond(rail, load.reach_mm + least)


def in_the_neck(
    end: End,
    rail: Rail,
    notch: int,
    package: Package,
    rules: Rules,
    *,
    source: Source = Source.COMPUTED,
) -> tuple[Setting, tuple[Margin, ...]]:
    """A pair at a notch in the neck, with its room to the body and to the cap.

    The bottle can move outward until its shoulder meets the spacers: that is its play. Asks for
    a package whose neck is measured.
    """
    at = rail.distance_mm(notch)
    to_body = at - (package.neck_from_mm or 0.0)
    to_cap = (package.neck_to_mm or 0.0) - at
    limit = rules.neck_margin_mm
    margins = tuple(
        Margin(name, text, value, limit, None, value >= limit - SAME_MM)
        for name, text, value in (
            ("neck_to_body", "from the spacers back to the body", to_body),
            ("neck_to_cap", "from the spacers on to the cap", to_cap),
        )
    )
    return setting_at(end, rail, notch, to_body, hold=Hold.NECK, source=source), margins


def _neck_reason(setting: Setting, margins: tuple[Margin, ...], units: Units) -> Reason:
    to_body, to_cap = (margin.value_mm for margin in margins)
    return Reason(
        "front_in_neck",
        f"Front spacers: {setting.said}, in the neck, {units.length(to_body)} off the body and "
        f"{units.length(to_cap)} off the cap.",
        {
            "notch": setting.notch,
            "distance_mm": setting.distance_mm,
            "to_body_mm": to_body,
            "to_cap_mm": to_cap,
        },
    )


def _placed(setting: Setting, deep: int, units: Units) -> Reason:
    what = "Front spacers" if setting.end is End.FRONT else "Rear plate"
    beyond = "the cap" if setting.hold is Hold.CAP else "the last product"
    return Reason(
        f"{setting.end.value}_set",
        f"{what}: {setting.said}, {units.length(setting.play_mm)} beyond {beyond}, {deep} deep.",
        {
            "notch": setting.notch,
            "distance_mm": setting.distance_mm,
            "play_mm": setting.play_mm,
            "deep": deep,
        },
    )


def _binds(end: End, rail: Rail, reach: float, least: float, units: Units) -> Reason:
    play = rail.distance_mm(rail.outermost) - reach
    leaves = (
        f"stands {units.length(-play)} inside the products"
        if play < 0
        else f"leaves {units.length(play)} of play"
    )
    return Reason(
        f"{end.value}_binds",
        f"Even the outermost notch of the {end.value} rail {leaves}; with less than "
        f"{units.length(least)} they bind on their way down.",
        {"play_mm": play, "least_play_mm": least, "reach_mm": reach, "notch": rail.outermost},
    )


def _too_loose(
    end: End, rail: Rail, notch: int, play: float, *, rules: Rules, units: Units
) -> Reason:
    return Reason(
        f"{end.value}_too_loose",
        f"The nearest notch of the {end.value} rail that does not bind leaves "
        f"{units.length(play)} of play; with more than {units.length(rules.most_play_mm)} they "
        "shift off the beam.",
        {
            "play_mm": play,
            "most_play_mm": rules.most_play_mm,
            "notch": notch,
            "distance_mm": rail.distance_mm(notch),
        },
    )


def _no_notch_in_neck(package: Package, units: Units) -> Reason:
    return Reason(
        "no_notch_in_neck",
        f"No notch of the front rail falls in the neck, "
        f"{units.length(package.neck_from_mm or 0.0)} to "
        f"{units.length(package.neck_to_mm or 0.0)} from the base, clear of body and cap; the "
        "spacers go just beyond the cap. Check that nothing falls out with the door.",
        {"neck_from_mm": package.neck_from_mm, "neck_to_mm": package.neck_to_mm},
    )


def _neck_too_thick(package: Package, rules: Rules, units: Units) -> Reason:
    step = (package.diameter_mm or 0.0) - (package.neck_diameter_mm or 0.0)
    return Reason(
        "neck_too_thick",
        f"The neck is only {units.length(step)} thinner than the body, too little to hold by "
        f"(at least {units.length(rules.neck_least_step_mm)}); the spacers go just beyond the "
        "cap. Check that nothing falls out with the door.",
        {"step_mm": step, "least_step_mm": rules.neck_least_step_mm},
    )
