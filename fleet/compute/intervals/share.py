"""A selection's sales shared out onto the columns that it draws on."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Part:
    """One column's part. `is_share` says that it was worked out, not counted."""

    units: int
    value_minor: int
    is_share: bool


@dataclass(frozen=True, slots=True)
class ShareOut:
    """The parts in the order of the columns. They add up to what was shared out, to the unit.

    `beyond_held_units` were sold beyond what the columns held together: they were filled in
    between, or held more than was thought.
    """

    parts: tuple[Part, ...]
    beyond_held_units: int
    basis: str


def share_out(
    units: int,
    value_minor: int,
    weights: Sequence[int],
    held_units: Sequence[int] | None = None,
) -> ShareOut:
    """Share a selection's units and money among its columns, in proportion to `weights`.

    `weights` are the columns' capacities; `held_units` what each can have sold at most. No column
    gets more than it held unless all together held less than was sold. Remainders go to the
    largest fractions, ties to the first column (Hamilton's method of largest remainders, from
    memory). The machine counts by selection, so every part but a lone column's is a share.

    Raises ValueError for no columns, negative figures, or sequences of different lengths.
    """
    _check(units, value_minor, weights, held_units)
    limits = list(held_units) if held_units is not None else [units] * len(weights)
    within = min(units, sum(limits))
    shares = _bounded(within, weights, limits)
    beyond = units - within
    if beyond:
        more = _largest_remainder(beyond, weights)
        shares = [share + extra for share, extra in zip(shares, more, strict=True)]
    by_units = shares if units else weights
    values = _largest_remainder(value_minor, by_units)
    is_share = len(weights) > 1
    parts = tuple(Part(share, value, is_share) for share, value in zip(shares, values, strict=True))
    basis = "by capacity" if is_share else "counted: the selection draws on one column"
    return ShareOut(parts, beyond, basis)


def _check(
    units: int, value_minor: int, weights: Sequence[int], held_units: Sequence[int] | None
) -> None:
    if not weights:
        raise ValueError("a selection draws on at least one column; no weights were given")
    if units < 0 or value_minor < 0:
        raise ValueError(f"units ({units}) and value_minor ({value_minor}) must not be negative")
    if any(weight < 0 for weight in weights):
        raise ValueError(f"weights must not be negative: {list(weights)}")
    if held_units is None:
        return
    if len(held_units) != len(weights):
        raise ValueError(
            f"{len(weights)} weights and {len(held_units)} held_units; one of each per column"
        )
    if any(held < 0 for held in held_units):
        raise ValueError(f"held_units must not be negative: {list(held_units)}")


def _bounded(units: int, weights: Sequence[int], limits: Sequence[int]) -> list[int]:
    """Shares of `units` (no more than the limits' sum), none beyond its limit.

    Columns that would get more than they held get what they held; the rest goes to the others.
    """
    shares = [0] * len(weights)
    open_columns = list(range(len(weights)))
    left = units
    while left:
        part = _largest_remainder(left, [weights[column] for column in open_columns])
        over = [
            column
            for column, share in zip(open_columns, part, strict=True)
            if share > limits[column]
        ]
        if not over:
            for column, share in zip(open_columns, part, strict=True):
                shares[column] = share
            break
        for column in over:
            shares[column] = limits[column]
            left -= limits[column]
        open_columns = [column for column in open_columns if column not in over]
    return shares


def _largest_remainder(total: int, weights: Sequence[int]) -> list[int]:
    """`total` in whole parts in proportion to the weights; equal parts if all weights are 0."""
    if not any(weights):
        weights = [1] * len(weights)
    scale = sum(weights)
    shares = [total * weight // scale for weight in weights]
    remainders = [total * weight % scale for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda index: (-remainders[index], index))
    for index in by_remainder[: total - sum(shares)]:
        shares[index] += 1
    return shares
