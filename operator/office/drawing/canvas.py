"""A sheet to draw on: millimetres in, SVG out."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

Point = tuple[float, float]


def figure(value: float) -> str:
    """A coordinate to a hundredth of a pixel, without idle zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass
class Canvas:
    """Elements in the order they are drawn; the bounds grow with what is put on it.

    Coordinates are millimetres, x to the right and y up from the floor of the column; `scale` is
    pixels a millimetre. Text and ticks keep their size on the screen whatever the scale.
    """

    scale: float
    _elements: list[str] = field(default_factory=list)
    _left: float = 0.0
    _top: float = 0.0
    _right: float = 0.0
    _bottom: float = 0.0

    def at(self, x_mm: float, y_mm: float) -> Point:
        """A place on the screen, in pixels."""
        return x_mm * self.scale, -y_mm * self.scale

    def room(self, x_px: float, y_px: float) -> None:
        """Let the sheet reach a place."""
        self._left, self._right = min(self._left, x_px), max(self._right, x_px)
        self._top, self._bottom = min(self._top, y_px), max(self._bottom, y_px)

    def path(self, css: str, d: str, **data: object) -> None:
        self._elements.append(_element("path", css, d, data))

    def line(self, css: str, *points: Point, **data: object) -> None:
        """A polyline through places in millimetres."""
        self.pixels(css, *(self.at(*point) for point in points), **data)

    def pixels(self, css: str, *points: Point, **data: object) -> None:
        """A polyline through places in pixels."""
        for point in points:
            self.room(*point)
        d = "M" + "L".join(f"{figure(x)},{figure(y)}" for x, y in points)
        self.path(css, d, **data)

    def box(self, css: str, x_mm: float, y_mm: float, width_mm: float, height_mm: float) -> None:
        """A rectangle from its lower left corner."""
        corners = (
            (x_mm, y_mm),
            (x_mm, y_mm + height_mm),
            (x_mm + width_mm, y_mm + height_mm),
            (x_mm + width_mm, y_mm),
        )
        self.shape(css, corners)

    def shape(self, css: str, corners: Sequence[Point], **data: object) -> None:
        """A closed outline through places in millimetres."""
        places = [self.at(*corner) for corner in corners]
        for place in places:
            self.room(*place)
        d = "M" + "L".join(f"{figure(x)},{figure(y)}" for x, y in places) + "Z"
        self.path(css, d, **data)

    def text(
        self, words: str, x_px: float, y_px: float, *, anchor: str = "start", css: str = "cap"
    ) -> None:
        """Words with their baseline at a place in pixels."""
        wide = len(words) * 6.7  # of the monospaced face at 11 px, so that nothing is cut off
        shift = {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        self.room(x_px - shift, y_px - 11)
        self.room(x_px - shift + wide, y_px + 4)
        self._elements.append(
            format_html(
                '<text class="{}" x="{}" y="{}" text-anchor="{}">{}</text>',
                css,
                figure(x_px),
                figure(y_px),
                anchor,
                words,
            )
        )

    def svg(self, *, ident: str, title: str, desc: str, css: str = "section") -> SafeString:
        """The drawing whole. `ident` makes its ids; two drawings on a page need two."""
        pad = 4.0
        left, top = self._left - pad, self._top - pad
        width, height = self._right + pad - left, self._bottom + pad - top
        return format_html(
            '<svg class="{css}" viewBox="{box}" width="{width}" height="{height}" role="img" '
            'aria-labelledby="{ident}-title" aria-describedby="{ident}-desc" data-scale="{scale}">'
            '<title id="{ident}-title">{title}</title><desc id="{ident}-desc">{desc}</desc>{body}'
            "</svg>",
            css=css,
            box=" ".join(figure(value) for value in (left, top, width, height)),
            width=figure(width),
            height=figure(height),
            ident=ident,
            scale=figure(self.scale),
            title=title,
            desc=desc,
            # Every element was made by format_html or of figures alone.
            body=mark_safe("".join(self._elements)),  # noqa: S308
        )


def _element(name: str, css: str, d: str, data: dict[str, object]) -> str:
    extra = "".join(
        f' data-{key.replace("_", "-")}="{conditional_escape(str(value))}"'
        for key, value in data.items()
    )
    return f'<{name} class="{css}" d="{d}"{extra}/>'
