"""What a machine used a day, reading by reading, beside its limit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.safestring import SafeString

from .canvas import Canvas

WIDE, HIGH = 420.0, 120.0
FIGURE_PX = 14.0


@dataclass(frozen=True)
class Bar:
    """One reading: the day it ended, and kWh a day."""

    on: date
    kwh_per_day: Decimal
    above: bool


def use_drawn(bars: Sequence[Bar], limit: Decimal | None, *, ident: str) -> SafeString:
    """A bar a reading, the oldest first; one above the limit is crossed, the limit is a line."""
    canvas = Canvas(1.0)
    most = max([float(one.kwh_per_day) for one in bars] + [float(limit or 0), 0.1]) * 1.1
    step = WIDE / max(len(bars), 1)
    line = float(limit or 0) / most * HIGH
    canvas.line("dim", (0, 0), (WIDE, 0))
    for number, one in enumerate(bars):
        x, y = step * (number + 0.5), float(one.kwh_per_day) / most * HIGH
        half = min(step * 0.3, 14.0)
        canvas.shape("stop-box", [(x - half, 0), (x - half, y), (x + half, y), (x + half, 0)])
        if one.above:
            canvas.pixels("shift-end", (x - half, 0), (x + half, -y))
        if number in (0, len(bars) - 1):
            canvas.text(f"{one.on.day} {one.on:%b %Y}", x, 18, anchor="middle")
        # Above its bar, which is narrower than the figure; above the limit too, not across it.
        high = line if y <= line < y + FIGURE_PX else y
        canvas.text(f"{one.kwh_per_day:.2f}", x, -high - 4, anchor="middle")
    if limit is not None:
        canvas.pixels("fill-line", (0, -line), (WIDE, -line))
        canvas.text(f"limit {limit:.3f}", WIDE + 8, -line + 4)
    canvas.text("kWh a day", 0, -HIGH - 16, css="num")
    desc = "; ".join(f"{one.on:%Y-%m-%d} {one.kwh_per_day} kWh a day" for one in bars)
    return canvas.svg(ident=ident, title="Energy a day", desc=desc, css="chart readings")
