"""Demand drawn: what will be asked for to each day, in bands; what was sold in each interval."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.safestring import SafeString

from .canvas import Canvas

WIDE, HIGH = 340.0, 170.0
BANDS = (0.95, 0.8, 0.5)


@dataclass(frozen=True)
class Ahead:
    """To the end of a day: mean, and each band by its part as low and high."""

    day: date
    mean: float
    bands: dict[float, tuple[int, int]]


@dataclass(frozen=True)
class SoldBar:
    """What was sold from one moment to another, and whether it ran dry."""

    starts: datetime
    ends: datetime
    units: int
    ran_dry: bool


def fan(
    days: Sequence[Ahead], *, held: float, dry: date | None, ident: str, title: str
) -> SafeString:
    """Bands of what is asked for from now on, beside a line at what the column holds.

    Where the mean comes over the line it is dry as likely as not.
    """
    canvas = Canvas(1.0)
    top = max(*(one.bands[0.95][1] for one in days), held, 1) * 1.08
    step = WIDE / len(days)

    def at(day: int, units: float) -> tuple[float, float]:
        return day * step, units / top * HIGH

    axes(canvas, top)
    for part in BANDS:
        upper = [(0.0, 0.0), *(at(n + 1, one.bands[part][1]) for n, one in enumerate(days))]
        lower = [at(n + 1, one.bands[part][0]) for n, one in reversed(list(enumerate(days)))]
        canvas.shape(f"band-{round(part * 100)}", [*upper, *lower], band=round(part * 100))
    means = [(0.0, 0.0), *(at(n + 1, one.mean) for n, one in enumerate(days))]
    canvas.line("band-mean", *means)
    _, y = at(0, held)
    canvas.line("fill-line", (0.0, y), (WIDE, y), held=f"{held:.1f}")
    canvas.text(f"holds {held:.0f}", WIDE + 6, -y + 4, css="num")
    _, high = at(0, days[-1].bands[0.95][1])
    _, low = at(0, days[-1].bands[0.95][0])
    canvas.text("95 %", WIDE + 6, -_clear(high, y) + 4)
    canvas.text("95 %", WIDE + 6, -_clear(low, y) + 4)
    for number, one in enumerate(days):
        if number % max(len(days) // 4, 1) == 0:
            x, _ = at(number + 1, 0)
            canvas.pixels("notch", (x, 0), (x, 6))
            canvas.text(f"{one.day:%a} {one.day.day}", x, 19, anchor="middle")
        if dry is not None and one.day == dry:
            x, _ = at(number + 1, 0)
            canvas.line("dim", (x, 0.0), (x, HIGH))
            canvas.text("as likely dry as not", x, -HIGH - 6, anchor="middle", css="num")
    last = days[-1]
    low_unit, high_unit = last.bands[0.95]
    desc = (
        f"By {last.day:%a} {last.day.day} {last.day:%b} {last.mean:.0f} are asked for on average, "
        f"from {low_unit} to {high_unit} in 95 of 100 cases; it holds {held:.0f}."
    )
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


def history(bars: Sequence[SoldBar], *, ident: str, title: str) -> SafeString:
    """Units a day in each interval, as wide as the interval is long; run-dry ones are dashed."""
    canvas = Canvas(1.0)
    first, last = bars[0].starts, bars[-1].ends
    whole = max((last - first).total_seconds(), 1.0)
    rates = [_a_day(bar) for bar in bars]
    top = max(*rates, 1.0) * 1.08
    axes(canvas, top)
    for bar, rate in zip(bars, rates, strict=True):
        x = (bar.starts - first).total_seconds() / whole * WIDE
        width = max((bar.ends - bar.starts).total_seconds() / whole * WIDE, 1.0)
        css = "bar-dry" if bar.ran_dry else "bar-sold"
        canvas.box(css, x, 0.0, width, rate / top * HIGH)
    for moment, anchor, x in ((first, "start", 0.0), (last, "end", WIDE)):
        canvas.text(f"{moment.day} {moment:%b}", x, 19, anchor=anchor)
    sold = sum(bar.units for bar in bars)
    dry = sum(bar.ran_dry for bar in bars)
    desc = f"{sold} sold in {len(bars)} intervals; {dry} of them ran dry."
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


def _a_day(bar: SoldBar) -> float:
    days = (bar.ends - bar.starts).total_seconds() / 86_400
    return bar.units / max(days, 1 / 24)


def axes(canvas: Canvas, top: float) -> None:
    """A floor and a scale from nothing to `top`, in steps that are easy to read."""
    canvas.line("wall", (0.0, 0.0), (WIDE, 0.0))
    canvas.line("wall", (0.0, 0.0), (0.0, HIGH))
    step = _step(top)
    for number in range(1, math.floor(top / step) + 1):
        y = number * step / top * HIGH
        canvas.line("notch", (-5.0, y), (0.0, y))
        canvas.text(f"{number * step:g}", -8, -y + 4, anchor="end")
    canvas.text("0", -8, 4, anchor="end")


def _step(top: float) -> float:
    """Of 1, 2 and 5 times a power of ten the one that gives four to nine marks."""
    rough = top / 5
    power = 10.0 ** math.floor(math.log10(rough))
    return next((one * power for one in (1, 2, 5) if one * power >= rough), 10 * power)


def _clear(y: float, line: float) -> float:
    """A height for words that keeps them off the words at a line."""
    if abs(y - line) >= 13:
        return y
    return line + 13 if y >= line else line - 13
