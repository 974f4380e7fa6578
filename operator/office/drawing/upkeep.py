"""Upkeep drawn: a year of turns, readings, and days between failures with their interval."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.safestring import SafeString

from service.compute.reliability import BetweenFailures
from service.upkeep.models import Reading

from .canvas import Canvas

WIDE = 560.0
ROW = 26.0
BACK, AHEAD = 183, 366
INTERVAL_WIDE = 170.0


@dataclass(frozen=True)
class Mark:
    """A turn of a plan on a day: done, due or late; an estimated day has its last one too."""

    plan: str
    on: date
    state: str
    latest: date | None = None


def year_drawn(marks: Sequence[Mark], today: date, *, ident: str) -> SafeString | str:
    """Half a year back and a year ahead, a line a plan; nothing where there is no turn."""
    first, last = today - timedelta(days=BACK), today + timedelta(days=AHEAD)
    plans = sorted({one.plan for one in marks})
    if not plans:
        return ""
    canvas = Canvas(1.0)

    def across(day: date) -> float:
        held = min(max(day, first), last)
        return (held - first).days / (last - first).days * WIDE

    high = ROW * len(plans)
    for number, plan in enumerate(plans):
        y = -high + ROW * number + ROW / 2
        canvas.pixels("hour", (0, y), (WIDE, y))
        canvas.text(plan, WIDE + 12, y + 4)
        for one in marks:
            if one.plan == plan and not (one.state == "done" and one.on < first):
                _mark(canvas, one, across(one.on), y, across(one.latest) if one.latest else None)
    month = date(first.year, first.month, 1)
    while month <= last:
        if month >= first:
            x = across(month)
            canvas.pixels("notch", (x, 0), (x, 6))
            if month.month % 3 == 1:
                canvas.pixels("hour", (x, -high), (x, 0))
                canvas.text(f"{month:%b %Y}", x, 19, anchor="middle")
        month = (month + timedelta(days=32)).replace(day=1)
    x = across(today)
    canvas.pixels("fill-line", (x, -high - 6), (x, 6))
    canvas.text("today", x, -high - 10, anchor="middle", css="num")
    desc = "; ".join(f"{one.plan} {one.state} {one.on:%Y-%m-%d}" for one in marks)
    return canvas.svg(ident=ident, title="Turns done and due", desc=desc, css="chart upkeep-year")


def _mark(canvas: Canvas, mark: Mark, x: float, y: float, latest: float | None) -> None:
    """Done is a filled box, due an open one, late one with a cross."""
    half = 5.0
    corners = [
        (x - half, y - half),
        (x + half, y - half),
        (x + half, y + half),
        (x - half, y + half),
    ]
    if latest is not None and latest > x:
        canvas.pixels("ghost", (x + half, y), (latest, y))
        canvas.pixels("ghost", (latest, y - 4), (latest, y + 4))
    css = {"done": "stop-box done", "due": "stop-box", "late": "stop-box misses"}[mark.state]
    canvas.shape(css, [(px, -py) for px, py in corners], day=f"{mark.on:%Y-%m-%d}")
    if mark.state == "late":
        canvas.pixels("shift-end", corners[0], corners[2])
        canvas.pixels("shift-end", corners[1], corners[3])


def readings_drawn(readings: Sequence[Reading], *, ident: str) -> SafeString:
    """Values over time, the first to the last; those beyond the usual band are crossed."""
    canvas = Canvas(1.0)
    wide, high = 300.0, 90.0
    values = [float(one.value) for one in readings]
    low, top = min(values), max(values)
    if top - low < 1:
        middle = (top + low) / 2
        low, top = middle - 0.5, middle + 0.5
    starts, ends = readings[0].taken_at, readings[-1].taken_at
    span = max((ends - starts).total_seconds(), 1.0)

    def at(one: Reading) -> tuple[float, float]:
        x = (one.taken_at - starts).total_seconds() / span * wide
        return x, (float(one.value) - low) / (top - low) * high

    what, unit = readings[0].get_what_display(), readings[0].unit
    canvas.line("dim", (0, 0), (wide, 0))
    for value in (low, top):
        y = (value - low) / (top - low) * high
        canvas.pixels("notch", (-6, -y), (0, -y))
        canvas.text(f"{value:.1f}", -10, -y + 4, anchor="end")
    canvas.line("band-mean", *(at(one) for one in readings))
    for one in readings:
        x, y = at(one)
        if one.usual is False:
            canvas.pixels("spacer", (x - 4, -y - 4), (x + 4, -y + 4))
            canvas.pixels("spacer", (x - 4, -y + 4), (x + 4, -y - 4))
        else:
            canvas.shape(
                "stop-box", [(x - 3, y - 3), (x - 3, y + 3), (x + 3, y + 3), (x + 3, y - 3)]
            )
    canvas.text(f"{starts.day} {starts:%b %Y}", 0, 18)
    canvas.text(f"{ends.day} {ends:%b %Y}", wide, 18, anchor="end")
    canvas.text(f"{what}, {unit}", 0, -high - 12, css="num")
    desc = "; ".join(f"{one.taken_at:%Y-%m-%d} {one.value} {unit}" for one in readings)
    return canvas.svg(ident=ident, title=f"{what}, {unit}", desc=desc, css="chart readings")


def between_drawn(between: BetweenFailures, *, most: float, ident: str, title: str) -> SafeString:
    """Days between failures as a length on a drawing: the figure a point, the interval its span.

    All of a table are drawn to one scale, which ends a little beyond the largest figure, `most`; a
    span that goes further, or has no end, ends in an arrow.
    """
    canvas = Canvas(1.0)
    end = max(most, between.days or 0, between.least_days) * 1.6 or 1.0

    def across(days: float) -> float:
        return min(days / end, 1.0) * INTERVAL_WIDE

    canvas.pixels("hour", (0, 0), (INTERVAL_WIDE, 0))
    left = across(between.least_days)
    far = between.most_days is None or between.most_days > end
    right = INTERVAL_WIDE if far else across(between.most_days or 0)
    canvas.pixels("dim", (left, -6), (left, 6))
    canvas.pixels("band-mean", (left, 0), (right, 0))
    if far:
        canvas.pixels("dim", (right - 6, -4), (right, 0), (right - 6, 4))
    else:
        canvas.pixels("dim", (right, -6), (right, 6))
    if between.days is not None:
        x = across(between.days)
        canvas.shape("stop-box done", [(x - 4, -4), (x - 4, 4), (x + 4, 4), (x + 4, -4)])
    return canvas.svg(
        ident=ident, title=f"{title}: days between failures", desc=between.said, css="interval"
    )
