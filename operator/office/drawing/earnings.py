"""Earnings drawn: what is left of receipts, step by step, and a profit as a length."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from .canvas import Canvas

WIDE, ROW, WORDS_WIDE, LENGTH_WIDE = 260.0, 24.0, 130.0, 120.0


@dataclass(frozen=True)
class Step:
    """One row: what it is, its amount as figures, and from where to where it reaches, as parts of
    receipts. Unknown ones have words and no length."""

    words: str
    said: str
    starts: float | None
    ends: float | None
    is_sum: bool = False


def steps(rows: Sequence[Step], *, ident: str, title: str, desc: str) -> SafeString:
    """Receipts at the top, each cost taken off below, what is left at the foot.

    Sums are filled, costs are outlines; each carries its figure, so that print says the same.
    """
    canvas = Canvas(1.0)
    reach = [one for row in rows for one in (row.starts, row.ends) if one is not None]
    low, high = min(0.0, *reach), max(1.0, *reach)
    span = high - low

    def across(part: float) -> float:
        return WORDS_WIDE + (part - low) / span * WIDE

    deep = ROW * len(rows)
    canvas.pixels("hour", (across(0), 0), (across(0), deep))
    for number, row in enumerate(rows):
        top = number * ROW
        canvas.text(row.words, WORDS_WIDE - 10, top + 16, anchor="end")
        end = across(0)
        if row.starts is not None and row.ends is not None:
            left, right = sorted((across(row.starts), across(row.ends)))
            css = "stop-box done" if row.is_sum else "stop-box"
            corners = ((left, top + 5), (left, top + 19), (right, top + 19), (right, top + 5))
            canvas.shape(css, [(x, -y) for x, y in corners])
            end = right
        canvas.text(row.said, end + 6, top + 16, css="num")
    return canvas.svg(ident=ident, title=title, desc=desc)


def length(amount: float, most: float, *, ident: str, title: str, said: str) -> SafeString:
    """A profit as a length from the middle: to the right a gain, to the left a loss."""
    canvas = Canvas(1.0)
    middle = LENGTH_WIDE / 2
    end = middle + (amount / most if most else 0.0) * middle
    left, right = sorted((middle, end))
    canvas.pixels("hour", (middle, -8), (middle, 8))
    canvas.pixels("dim", (0, 0), (LENGTH_WIDE, 0))
    css = "stop-box done" if amount >= 0 else "stop-box"
    canvas.shape(css, [(left, -5), (left, 5), (right, 5), (right, -5)])
    return canvas.svg(ident=ident, title=title, desc=said, css="interval")
