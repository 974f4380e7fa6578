"""Lines across a column at so many units: what is in it now, and by the next visit."""

from dataclasses import dataclass

#: Words of two levels keep so far apart.
LEVEL_PX = 13.0


@dataclass(frozen=True)
class Level:
    """A line across a column at so many units: `css` is its style, `words` stand beside it."""

    units: float
    css: str
    words: str
