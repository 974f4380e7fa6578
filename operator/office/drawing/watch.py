"""What a finding stands on, drawn: what was expected beside what came."""

from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.utils.safestring import SafeString

from .canvas import Canvas
from .demand import HIGH, WIDE, axes

EPOCH = date(1970, 1, 1)
LEAST_PX = 1.0


def evidence(chart: Mapping[str, Any], *, ident: str, title: str) -> SafeString | None:
    """The small chart of a finding; None where there is nothing to draw."""
    draw = _DRAWN.get(chart.get("kind", ""))
    series = chart.get("ends") or chart.get("at") or []
    if draw is None or not series:
        return None
    return draw(chart, ident, title)


def _day(number: float) -> date:
    return EPOCH + timedelta(days=int(number))


def _said(number: float) -> str:
    day = _day(number)
    return f"{day.day} {day:%b}"


def _along(first: float, last: float) -> Callable[[float], float]:
    whole = max(last - first, 1e-6)
    return lambda moment: (moment - first) / whole * WIDE


def _dates(canvas: Canvas, first: float, last: float, below: float = 19) -> None:
    for moment, anchor, x in ((first, "start", 0.0), (last, "end", WIDE)):
        canvas.text(_said(moment), x, below, anchor=anchor)


def _expected_and_sold(chart: Mapping[str, Any], ident: str, title: str) -> SafeString:
    """Units a day in each interval; the line is what was expected, dashed bars ran dry."""
    canvas = Canvas(1.0)
    starts, ends = chart["starts"], chart["ends"]
    days = [max(b - a, 1 / 24) for a, b in zip(starts, ends, strict=True)]
    sold = [units / long for units, long in zip(chart["sold"], days, strict=True)]
    meant = [units / long for units, long in zip(chart["expected"], days, strict=True)]
    top = max(*sold, *meant, 1.0) * 1.08
    at = _along(starts[0], ends[-1])
    axes(canvas, top)
    for begins, finishes, units, dry in zip(starts, ends, sold, chart["dry"], strict=True):
        wide = max(at(finishes) - at(begins), LEAST_PX)
        if units or dry:
            # A bar that ran dry and sold nothing still wants to be seen.
            high = max(units / top * HIGH, 3.0 if dry else 0.0)
            canvas.box("bar-dry" if dry else "bar-sold", at(begins), 0.0, wide, high)
    steps = []
    for begins, finishes, units in zip(starts, ends, meant, strict=True):
        steps += [(at(begins), units / top * HIGH), (at(finishes), units / top * HIGH)]
    canvas.line("fill-line", *steps)
    canvas.text("expected", WIDE + 6, -meant[-1] / top * HIGH + 4, css="num")
    _silence(canvas, chart, at)
    _dates(canvas, starts[0], ends[-1])
    desc = (
        f"Sold {sum(chart['sold'])} in {len(sold)} intervals from {_said(starts[0])} to "
        f"{_said(ends[-1])}, where {sum(chart['expected']):.0f} were expected."
    )
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


def _silence(canvas: Canvas, chart: Mapping[str, Any], at: Callable[[float], float]) -> None:
    """Dimension the time at the end in which nothing was sold."""
    sold = chart["sold"]
    last = max((index for index, units in enumerate(sold) if units), default=-1)
    if len(sold) - 1 - last < 2:
        return
    begins, ends = chart["starts"][last + 1], chart["ends"][-1]
    y = HIGH + 8
    canvas.line("dim", (at(begins), 0.0), (at(begins), y + 5))
    canvas.line("dim", (at(ends), y - 5), (at(ends), y + 5))
    canvas.line("dim", (at(begins), y), (at(ends), y))
    middle = (at(begins) + at(ends)) / 2
    days = f"{ends - begins:.0f} days without a sale"
    # Words that are wider than what they name end with it.
    canvas.text(days, min(middle, WIDE - 80), -y - 6, anchor="middle", css="num")


def _vended_and_missing(chart: Mapping[str, Any], ident: str, title: str) -> SafeString:
    """Units vended by each count, and beside them, dashed, what went without a vend."""
    canvas = Canvas(1.0)
    starts, ends, sold, missing = (chart[name] for name in ("starts", "ends", "sold", "missing"))
    top = max(*sold, *(abs(one) for one in missing), 1.0) * 1.08
    axes(canvas, top)
    step = WIDE / len(ends)
    for index, (units, gone) in enumerate(zip(sold, missing, strict=True)):
        left = index * step
        canvas.box("bar-sold", left + step * 0.12, 0.0, step * 0.36, units / top * HIGH)
        if gone:
            canvas.box("bar-dry", left + step * 0.52, 0.0, step * 0.36, abs(gone) / top * HIGH)
            words = f"{gone}" if gone > 0 else f"{-gone} too many"
            canvas.text(words, left + step * 0.7, -abs(gone) / top * HIGH - 5, anchor="middle")
        if index % max(-(-len(ends) // 5), 1) == 0:
            canvas.text(_said(ends[index]), left + step / 2, 19, anchor="middle")
    desc = (
        f"{sum(sold)} vended and {sum(missing)} missing over {len(ends)} counts, from "
        f"{_said(starts[0])} to {_said(ends[-1])}."
    )
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


def _bags(chart: Mapping[str, Any], ident: str, title: str) -> SafeString:
    """Each bag's cash beyond the meter's, above the line, or short of it, below."""
    canvas = Canvas(1.0)
    off = [
        (counted - expected) / 100
        for counted, expected in zip(chart["counted"], chart["expected"], strict=True)
    ]
    most = max(*(abs(one) for one in off), 1.0) * 1.1
    step, half = WIDE / len(off), HIGH / 2
    canvas.line("wall", (0.0, half), (WIDE, half))
    canvas.line("wall", (0.0, 0.0), (0.0, HIGH))
    for index, one in enumerate(off):
        high = abs(one) / most * half
        floor = half if one >= 0 else half - high
        css = "bar-sold" if one >= 0 else "bar-dry"
        canvas.box(css, index * step + step * 0.2, floor, step * 0.6, max(high, LEAST_PX))
        if index % max(-(-len(off) // 5), 1) == 0:
            canvas.text(_said(chart["ends"][index]), (index + 0.5) * step, 19, anchor="middle")
    for value, y in ((most / 1.1, HIGH / 2 + half / 1.1), (-most / 1.1, half - half / 1.1)):
        canvas.line("notch", (-5.0, y), (0.0, y))
        canvas.text(f"{value:+.2f}", -8, -y + 4, anchor="end")
    canvas.text("0", -8, -half + 4, anchor="end")
    short = sum(one < 0 for one in off)
    desc = f"{short} of {len(off)} bags are short, {sum(off):+.2f} together."
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


def _temperature(chart: Mapping[str, Any], ident: str, title: str) -> SafeString:
    limit = chart["limit_c"]
    desc = (
        f"{len(chart['celsius'])} readings, the last {chart['celsius'][-1]:.1f} °C; the limit is "
        f"{limit:g} °C."
    )
    return _course(chart["at"], chart["celsius"], (limit,), "°C", ident, title, desc)


def _clock(chart: Mapping[str, Any], ident: str, title: str) -> SafeString:
    limit = float(chart["limit_minutes"])
    ahead = chart["ahead_minutes"]
    desc = (
        f"By {len(ahead)} reads the clock went from {ahead[0]:+.0f} to {ahead[-1]:+.0f} minutes; "
        f"{limit:.0f} either way is the limit."
    )
    return _course(chart["at"], ahead, (limit, -limit), "min", ident, title, desc)


def _course(
    at: Sequence[float],
    values: Sequence[float],
    limits: Sequence[float],
    unit: str,
    ident: str,
    title: str,
    desc: str,
) -> SafeString:
    """A value over time beside its limits."""
    canvas = Canvas(1.0)
    low, high = min(*values, *limits, 0.0), max(*values, *limits, 0.0)
    room = (high - low) * 0.08 or 1.0
    low, high = low - room, high + room
    along = _along(at[0], at[-1])

    def up(value: float) -> float:
        return (value - low) / (high - low) * HIGH

    canvas.line("wall", (0.0, 0.0), (0.0, HIGH))
    canvas.line("notch", (0.0, up(0.0)), (WIDE, up(0.0)))
    canvas.text("0", -8, -up(0.0) + 4, anchor="end")
    for limit in limits:
        canvas.line("fill-line", (0.0, up(limit)), (WIDE, up(limit)))
        canvas.text(f"limit {limit:g} {unit}", WIDE + 6, -up(limit) + 4)
    points = [(along(moment), up(value)) for moment, value in zip(at, values, strict=True)]
    if len(points) > 1:
        canvas.line("band-mean", *points)
    for x, y in points:
        canvas.box("bar-sold", x - 2, y - 2, 4, 4)
    last = points[-1]
    canvas.text(f"{values[-1]:.1f} {unit}", last[0], -last[1] - 9, anchor="end", css="num")
    _dates(canvas, at[0], at[-1])
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart")


_DRAWN: dict[str, Callable[[Mapping[str, Any], str, str], SafeString]] = {
    "expected_and_sold": _expected_and_sold,
    "vended_and_missing": _vended_and_missing,
    "bags": _bags,
    "temperature": _temperature,
    "clock": _clock,
}
