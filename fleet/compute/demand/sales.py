"""What columns sold in intervals, as arrays: the input of the demand model."""

from dataclasses import dataclass
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from .arrays import BadSales, Flags, Floats, Ints, as_floats, as_ints, refuse_where

#: Intervals whose order is looked at together: they stay in the cache.
AT_ONCE: Final = 1 << 15


@dataclass(frozen=True, eq=False)
class IntervalSales:
    """Units sold by columns in intervals [starts, ends).

    One entry an interval (n of them, in any order):
      column    which column, 0 .. columns-1
      starts    moment in days since 1970-01-01 00:00 by the machine's own clock; a fraction is
                a part of the day (see `calendar.day_number`)
      ends      the same; later than `starts`. Intervals of one column do not overlap
      units     products that left by sale, 0 or more
      ran_dry   the column was empty at some time in the interval: `units` is the least that
                would have been sold, not what would have been

    One entry a column:
      machine   number of its machine: any whole numbers, the same for columns of one machine
      product   number of its product, likewise
    """

    column: Ints
    starts: Floats
    ends: Floats
    units: Ints
    ran_dry: Flags
    machine: Ints
    product: Ints

    @classmethod
    def of(
        cls,
        *,
        column: npt.ArrayLike,
        starts: npt.ArrayLike,
        ends: npt.ArrayLike,
        units: npt.ArrayLike,
        ran_dry: npt.ArrayLike,
        machine: npt.ArrayLike,
        product: npt.ArrayLike,
    ) -> Self:
        """From anything like arrays. Raises BadSales, naming the first entry that is wrong."""
        columns = as_ints("machine", machine)
        rows = as_ints("column", column)
        size = len(rows)
        dry = np.asarray(ran_dry)
        if dry.shape != (size,):
            raise BadSales("ran_dry", f"has shape {dry.shape}, must have {size} entries")
        made = cls(
            rows,
            as_floats("starts", starts, size),
            as_floats("ends", ends, size),
            as_ints("units", units, size),
            dry.astype(np.bool_, copy=False),
            columns,
            as_ints("product", product, len(columns)),
        )
        outside = (rows < 0) | (rows >= len(columns))
        refuse_where("column", outside, f"names none of the {len(columns)} columns")
        refuse_where("ends", made.ends <= made.starts, "must be later than its start")
        refuse_where("units", made.units < 0, "cannot be below zero")
        return made

    @property
    def columns(self) -> int:
        """How many columns, with or without sales."""
        return len(self.machine)

    def __len__(self) -> int:
        return len(self.column)

    def where(self, chosen: Flags | Ints) -> Self:
        """The intervals chosen, by flag or by place, of the same columns."""
        return type(self)(
            self.column[chosen],
            self.starts[chosen],
            self.ends[chosen],
            self.units[chosen],
            self.ran_dry[chosen],
            self.machine,
            self.product,
        )

    def in_order(self) -> Self:
        """By column, then time. What is already in order is not copied."""
        if self._is_in_order():
            return self
        return self.where(
            np.lexsort((self.ran_dry, self.units, self.ends, self.starts, self.column))
        )

    def _is_in_order(self) -> bool:
        for first in range(0, len(self) - 1, AT_ONCE):
            some = slice(first, first + AT_ONCE + 1)
            column, starts = self.column[some], self.starts[some]
            later = (column[1:] == column[:-1]) & (starts[1:] > starts[:-1])
            if not (later | (column[1:] > column[:-1])).all():
                return False
        return True
