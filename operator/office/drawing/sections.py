"""One door to the sections: whatever the position, whatever lies in it."""

from django.utils.safestring import SafeString

from fleet.compute.positions import Position, SpiralPosition
from fleet.compute.units import Units

from .spiral import spiral_section
from .stack import Loaded, stack_section

# Pixels a millimetre: a whole column among its neighbours, and one column to be worked on.
WHOLE, NEAR = 0.5, 1.0
NEAR_LAYERS = 4


def whole(
    position: Position, loaded: Loaded | None, *, ident: str, title: str, units: Units
) -> SafeString:
    """The column in its full height, small enough to stand among its neighbours."""
    if isinstance(position, SpiralPosition):
        return _spiral(position, loaded, ident=ident, title=title, units=units, scale=WHOLE)
    return stack_section(position, loaded, ident=ident, title=title, units=units, scale=WHOLE)


def near(
    position: Position, loaded: Loaded | None, *, ident: str, title: str, units: Units
) -> SafeString:
    """The lowest layers at a scale to work by, the rest cut off with a break line."""
    if isinstance(position, SpiralPosition):
        return _spiral(position, loaded, ident=ident, title=title, units=units, scale=0.8)
    return stack_section(
        position,
        loaded,
        ident=ident,
        title=title,
        units=units,
        scale=NEAR,
        most_layers=NEAR_LAYERS,
    )


def scale_said(scale: float) -> str:
    """The scale on a screen of 96 pixels an inch, such as `1 : 4`."""
    return f"1 : {96 / 25.4 / scale:.0f}"


def _spiral(
    position: SpiralPosition,
    loaded: Loaded | None,
    *,
    ident: str,
    title: str,
    units: Units,
    scale: float,
) -> SafeString:
    return spiral_section(
        position,
        loaded.package if loaded else None,
        ident=ident,
        title=title,
        units=units,
        scale=scale,
        inside=loaded.inside if loaded else None,
        levels=loaded.levels if loaded else (),
    )
