"""How a column stands: what lies in it, drawn, and what the computation says against it."""

from dataclasses import dataclass, replace
from datetime import date

from django.utils.safestring import SafeString

from fleet.compute.positions import Position as Place
from fleet.compute.rails import End
from fleet.compute.results import Fit, Reason, Risk, Verdict
from fleet.compute.timing import outlook
from fleet.compute.units import BadMeasure
from fleet.compute.words import said
from fleet.demand.queries.ahead import ColumnAhead
from fleet.machines.geometry import board_of, package_of, position_of, program_of
from fleet.machines.models import Column, Package, Position, SetUp
from fleet.machines.models.setups import Setting
from fleet.machines.queries.fits import Bench

from .drawing import sections
from .drawing.levels import Level
from .drawing.stack import Loaded

RISK_SAID = {
    Risk.TWO_FOR_ONE: "two for one likely",
    Risk.FALSE_SOLD_OUT: "false sold-out likely",
    Risk.NOTHING_DELIVERED: "may deliver nothing",
    Risk.DROPS_INTO_RUN_ON: "may drop into the run-on",
}


@dataclass(frozen=True)
class Stock:
    """What a column is taken to hold: `now`, and at the `visit` if nobody comes before."""

    now: float
    low: int
    high: int
    at_visit: float
    visit: date
    dry: date | None
    dry_early: date | None
    basis: str

    @property
    def levels(self) -> tuple[Level, ...]:
        """Lines of their own styles, so that they are told apart without colour or words."""
        # The later line first: where both lie together, that of now is seen.
        then = f"{self.at_visit:.0f} by {self.visit:%a}"
        return (
            Level(self.at_visit, "level-visit", then),
            Level(self.now, "level-now", f"{self.now:.0f} now"),
        )


def stock_of(ahead: ColumnAhead, visit: date) -> Stock | None:
    """What a column is taken to hold now and by a visit; None of one that nobody has counted.

    What nobody counted may be anything from empty to full, and a line would say more than that.
    """
    if ahead.last_count_at is None:
        return None
    then = next((one.held for one in reversed(ahead.days) if one.day < visit), ahead.stock)
    return Stock(
        now=ahead.stock,
        low=ahead.stock_low,
        high=ahead.stock_high,
        at_visit=then,
        visit=visit,
        dry=ahead.dry_median,
        dry_early=ahead.dry_early,
        basis=ahead.stock_basis,
    )


@dataclass(frozen=True)
class Standing:
    """One column as it is set now. `amiss` says in a few words what is wrong, `why` at length."""

    column: Column
    set_up: SetUp | None
    drawing: SafeString | None
    front_said: str
    rear_said: str
    amiss: str
    why: tuple[Reason, ...]
    wrong: frozenset[str]
    fit: Fit | None = None
    stock: Stock | None = None


def standing(
    column: Column, bench: Bench, *, near: bool = False, stock: Stock | None = None
) -> Standing:
    """How a column stands, with its section. Asks for `set_ups_now`; makes no query of its own.

    With `stock` the section is drawn as full as the column is taken to be, else full.
    """
    set_up = next(iter(column.set_ups_now), None)  # type: ignore[attr-defined]
    title = f"Column {column.position.label}"
    place = place_or_none(column.position)
    if set_up is None:
        drawing = _drawn(place, None, column, title, bench, near)
        return Standing(column, None, drawing, "", "", "", (), frozenset())
    title += f": {set_up.product.name}, {set_up.deep} deep"
    package = package_or_none(set_up.product.package)
    loaded = loaded_with(set_up, set_up.product.package)
    if loaded is not None and stock is not None:
        loaded = replace(loaded, inside=round(stock.now), levels=stock.levels)
    answer = bench.fit(column.position, set_up.product.package) if package and place else None
    amiss, why, wrong = _amiss(column, set_up, answer, bench)
    return Standing(
        column=column,
        set_up=set_up,
        drawing=_drawn(place, loaded, column, title, bench, near),
        front_said=notch_said(place, "front", set_up.front_setting),
        rear_said=notch_said(place, "rear", set_up.rear_setting),
        amiss=amiss,
        why=why,
        wrong=frozenset(wrong),
        fit=answer,
        stock=stock,
    )


def place_or_none(position: Position) -> Place | None:
    """The measured place, or None where its measures contradict each other."""
    try:
        return position_of(position)
    except BadMeasure:
        return None


def package_or_none(package: Package) -> object | None:
    try:
        return package_of(package)
    except BadMeasure:
        return None


def loaded_with(setting: Setting, package: Package, inside: int | None = None) -> Loaded | None:
    """What a setting and a package make of a column, to be drawn."""
    try:
        shape = package_of(package)
    except BadMeasure:
        return None
    return Loaded(shape, setting.deep, setting.front_setting, setting.rear_setting, inside)


def notch_said(place: Place | None, side: str, notch: int | None) -> str:
    """A stored notch as a hand finds it; nothing where there is no such rail or notch."""
    half = getattr(place, side, None)
    if half is None or notch is None or not 0 <= notch < half.rail.notches:
        return ""
    return said(half.rail, End(side), notch)


def _drawn(
    place: Place | None,
    loaded: Loaded | None,
    column: Column,
    title: str,
    bench: Bench,
    near: bool,
) -> SafeString | None:
    if place is None:
        return None
    draw = sections.near if near else sections.whole
    return draw(place, loaded, ident=f"column-{column.pk}", title=title, units=bench.units)


def _amiss(
    column: Column, set_up: SetUp, answer: Fit | None, bench: Bench
) -> tuple[str, tuple[Reason, ...], set[str]]:
    """What is wrong with a set-up: the program first, for it costs products with every vend."""
    wrong: set[str] = set()
    why: list[Reason] = []
    words: list[str] = []
    if set_up.program is not None:
        board = board_of(bench.boards[column.position.kind_id])
        found = outlook(program_of(set_up.program), set_up.deep, board, bench.rules)
        if found.risk is not Risk.NONE:
            words.append(RISK_SAID[found.risk])
            why.append(found.reason)
            wrong.add("program")
    if answer is not None:
        words += _settings_amiss(set_up, answer, why, wrong)
    return ", ".join(words), tuple(why), wrong


def _settings_amiss(set_up: SetUp, answer: Fit, why: list[Reason], wrong: set[str]) -> list[str]:
    if answer.verdict is Verdict.DOES_NOT_FIT:
        why.extend(answer.reasons)
        return ["does not fit"]
    if answer.deep is not None and answer.deep != set_up.deep:
        wrong.add("deep")
        text = f"It lies {set_up.deep} deep; {answer.deep} deep is computed for this package."
        why.append(Reason("deep_differs", text, {}))
        return [f"{answer.deep} deep is computed"]
    words = []
    for side in ("front", "rear"):
        setting = getattr(answer, side)
        stands = getattr(set_up, f"{side}_setting")
        if setting is not None and stands is not None and setting.notch != stands:
            off = stands - setting.notch
            wrong.add(side)
            words.append(f"{side} {abs(off)} off")
            text = (
                f"The {side} setting stands at {stands}; {setting.notch} ({setting.said}) is "
                f"{setting.source.value}."
            )
            why.append(Reason(f"{side}_differs", text, {}))
    return words
