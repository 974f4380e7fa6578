"""Which setting is taken: measured before learned before computed, and how a label compares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fleet.compute.charts import ChartEntry, winner
from fleet.compute.packages import Package
from fleet.compute.positions import Half, StackPosition
from fleet.compute.rails import End
from fleet.compute.results import (
    Candidate,
    ChartComparison,
    Hold,
    Margin,
    Reason,
    Setting,
    Source,
)
from fleet.compute.rules import Rules
from fleet.compute.settings import (
    Load,
    holds_by_neck,
    in_the_neck,
    least_play_mm,
    neck_sizes_missing,
    plate_hold,
    play_margin,
    setting_at,
)
from fleet.compute.units import SAME_MM, Units
from fleet.compute.words import said


@dataclass(frozen=True, slots=True)
class Chosen:
    """How the column is to be set; `entry` is the chart entry followed, None if computed."""

    deep: int
    front: Setting | None
    rear: Setting | None
    margins: tuple[Margin, ...]
    reasons: tuple[Reason, ...]
    cautions: tuple[Reason, ...]
    entry: ChartEntry | None = None

    def setting(self, end: End) -> Setting | None:
        return self.front if end is End.FRONT else self.rear


def choose(
    position: StackPosition,
    package: Package,
    candidates: Sequence[Candidate],
    charts: Sequence[ChartEntry],
    *,
    rules: Rules,
    units: Units,
) -> tuple[Chosen | None, tuple[Reason, ...]]:
    """The setting to use, or None when nothing is known to work; and cautions about charts.

    A chart entry that names a notch or a depth the position does not have is passed over with a
    caution.
    """
    computed = next((one for one in candidates if one.fits), None)
    entry = winner(charts, rules)
    if entry is not None and package.length_mm is not None:
        load = Load(package, package.length_mm, entry.deep)
        problem = _unusable(position, entry, candidates)
        if problem is None:
            followed = _followed(position, load, entry, candidates, rules=rules, units=units)
            if computed is not None:
                followed = _beside_computed(position, followed, computed)
            return followed, ()
        return _as_computed(computed, candidates), (problem,)
    return _as_computed(computed, candidates), ()


def compare(
    position: StackPosition,
    chosen: Chosen | None,
    program: str | None,
    charts: Sequence[ChartEntry],
) -> tuple[tuple[ChartComparison, ...], tuple[Reason, ...]]:
    """Every chart entry beside what was chosen; and a caution for each label that disagrees."""
    compared = []
    cautions = []
    for entry in charts:
        differs = _differences(position, chosen, program, entry)
        taken = chosen is not None and chosen.entry is entry
        words = f"Settings {_SOURCE_WORDS[entry.source]}: {_spoken(position, entry)}"
        reason = Reason(
            "chart_agrees" if not differs else "chart_disagrees",
            f"{words}." if not differs else f"{words}; {', '.join(differs)}.",
            {"source": entry.source.value, "deep": entry.deep, "count": entry.count},
        )
        compared.append(
            ChartComparison(
                source=entry.source,
                deep=entry.deep,
                front_notch=entry.front_notch,
                rear_notch=entry.rear_notch,
                count=entry.count,
                chosen=taken,
                agrees=not differs,
                reason=reason,
            )
        )
        if differs and chosen is not None and entry.source is Source.LABEL:
            cautions.append(replace(reason, code="label_disagrees"))
    return tuple(compared), tuple(cautions)


_SOURCE_WORDS = {
    Source.MEASURED: "measured in the machine",
    Source.LEARNED: "learned from changeovers that passed their test vends",
    Source.LABEL: "on the machine's label",
}


def _as_computed(computed: Candidate | None, candidates: Sequence[Candidate]) -> Chosen | None:
    if computed is None:
        return None
    return Chosen(
        deep=computed.deep,
        front=computed.front,
        rear=computed.rear,
        margins=computed.margins,
        reasons=(*_deeper_that_bind(computed.deep, candidates), *computed.reasons),
        cautions=computed.cautions,
    )


def _deeper_that_bind(deep: int, candidates: Sequence[Candidate]) -> tuple[Reason, ...]:
    """Why fewer deep than lie end to end, for each deeper load that does lie so."""
    found = []
    for one in candidates:
        codes = {reason.code for reason in one.reasons}
        if one.deep > deep and "longer_than_depth" not in codes:
            why = " ".join(reason.text for reason in one.reasons)
            found.append(
                Reason(
                    "fewer_deep",
                    f"{one.deep} deep lie end to end, but cannot be held: {why} So {deep} deep.",
                    {"deep": deep, "end_to_end": one.deep},
                )
            )
    return tuple(found)


def _unusable(
    position: StackPosition, entry: ChartEntry, candidates: Sequence[Candidate]
) -> Reason | None:
    name = _SOURCE_WORDS[entry.source]
    if entry.deep > position.greatest_deep:
        return Reason(
            "chart_too_deep",
            f"Settings {name} are for {entry.deep} deep, more than this position's "
            f"{position.greatest_deep}; they are passed over.",
            {"deep": entry.deep, "greatest_deep": position.greatest_deep},
        )
    same = next((one for one in candidates if one.deep == entry.deep), None)
    for end, half in position.halves():
        notch = entry.notch(end)
        if notch is not None and notch >= half.rail.notches:
            return Reason(
                "chart_off_rail",
                f"Settings {name} ask for {end.value} notch {notch}; the rail ends at "
                f"{half.rail.notches - 1}. They are passed over.",
                {"notch": notch, "notches": half.rail.notches},
            )
        computed = None if same is None else (same.front if end is End.FRONT else same.rear)
        if notch is None and computed is None:
            return Reason(
                "chart_silent",
                f"Settings {name} say nothing of the {end.value} half, and none could be "
                "computed for it; they are passed over.",
                {"end": end.value},
            )
    return None


def _followed(
    position: StackPosition,
    load: Load,
    entry: ChartEntry,
    candidates: Sequence[Candidate],
    *,
    rules: Rules,
    units: Units,
) -> Chosen:
    """The column set as a usable chart entry says, judged by the same margins."""
    same = next((one for one in candidates if one.deep == entry.deep), None)
    settings: dict[End, Setting | None] = {End.FRONT: None, End.REAR: None}
    margins: list[Margin] = []
    for end, half in position.halves():
        notch = entry.notch(end)
        if notch is None:
            if same is not None:
                settings[end] = same.front if end is End.FRONT else same.rear
                margins.extend(m for m in same.margins if m.name in _MARGINS_OF[end])
            continue
        setting, room = _at(end, half, load, entry, rules)
        settings[end] = setting
        margins.extend(room)
    cautions = tuple(_against_geometry(margin, units) for margin in margins if not margin.met)
    reason = Reason(
        "chart_followed",
        f"Settings {_SOURCE_WORDS[entry.source]} are believed before computed ones: "
        f"{_spoken(position, entry)}.",
        {"source": entry.source.value, "count": entry.count, "deep": entry.deep},
    )
    return Chosen(
        deep=entry.deep,
        front=settings[End.FRONT],
        rear=settings[End.REAR],
        margins=tuple(margins),
        reasons=(reason,),
        cautions=cautions,
        entry=entry,
    )


_MARGINS_OF = {
    End.FRONT: ("front_play", "neck_to_body", "neck_to_cap"),
    End.REAR: ("rear_play",),
}


def _at(
    end: End,
    half: Half,
    load: Load,
    entry: ChartEntry,
    rules: Rules,
) -> tuple[Setting, tuple[Margin, ...]]:
    rail, package = half.rail, load.package
    notch = entry.notch(end) or 0
    play = rail.distance_mm(notch) - load.reach_mm
    by_neck = holds_by_neck(end, package, entry.deep, rules) and not neck_sizes_missing(package)
    if by_neck and play < rules.cap_least_mm - SAME_MM:
        return in_the_neck(end, rail, notch, package, rules, source=entry.source)
    hold: Hold = plate_hold(end, package)
    setting = setting_at(end, rail, notch, play, hold=hold, source=entry.source)
    return setting, (play_margin(end, play, least_play_mm(hold, rules), rules.most_play_mm),)


def _against_geometry(margin: Margin, units: Units) -> Reason:
    band = f"at least {units.length(margin.least_mm or 0.0)}"
    if margin.most_mm is not None:
        band += f" and at most {units.length(margin.most_mm)}"
    return Reason(
        "chart_against_geometry",
        f"By the measured sizes these settings leave {units.length(margin.value_mm)} as "
        f"{margin.text}, where {band} is asked. Measure again, or note why they work.",
        {
            "margin": margin.name,
            "value_mm": margin.value_mm,
            "least_mm": margin.least_mm,
            "most_mm": margin.most_mm,
        },
    )


def _beside_computed(position: StackPosition, followed: Chosen, computed: Candidate) -> Chosen:
    """Say where a followed chart and the computation part, so that a person can judge."""
    parts = []
    if followed.deep != computed.deep:
        parts.append(f"{computed.deep} deep")
    for end, half in position.halves():
        mine = followed.setting(end)
        other = computed.front if end is End.FRONT else computed.rear
        if mine and other and mine.notch != other.notch:
            parts.append(f"{end.value} {said(half.rail, end, other.notch)} ({other.notch})")
    if not parts:
        return followed
    reason = Reason(
        "chart_differs_from_computed",
        f"Computed from the sizes it would be: {'; '.join(parts)}.",
        {"computed_deep": computed.deep},
    )
    return replace(followed, reasons=(*followed.reasons, reason))


def _differences(
    position: StackPosition, chosen: Chosen | None, program: str | None, entry: ChartEntry
) -> list[str]:
    if chosen is None:
        return ["nothing was chosen to compare it with"]
    found = []
    if entry.deep != chosen.deep:
        found.append(f"chosen is {chosen.deep} deep")
    for end, _ in position.halves():
        notch, setting = entry.notch(end), chosen.setting(end)
        if notch is not None and setting is not None and notch != setting.notch:
            found.append(f"chosen for the {end.value} is {setting.said} ({setting.notch})")
    if entry.program is not None and program is not None and entry.program != program:
        found.append(f"the program chosen is {program}")
    return found


def _spoken(position: StackPosition, entry: ChartEntry) -> str:
    parts = [f"{entry.deep} deep"]
    for end, half in position.halves():
        notch = entry.notch(end)
        if notch is None:
            continue
        on_rail = notch < half.rail.notches
        words = f"{said(half.rail, end, notch)} ({notch})" if on_rail else f"notch {notch}"
        parts.append(f"{end.value} {words}")
    return ", ".join(parts)
