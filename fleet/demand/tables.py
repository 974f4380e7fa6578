"""Lists of demand as tables for a file, the same at either door."""

from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from people.exports import Cell, Table

from .models import ColumnDemand, ColumnNeed, FitRun
from .queries import fits

NOT_WORKED_OUT: Final = (None,) * 14


def needs(rows: Iterable[ColumnDemand], zone: ZoneInfo, *, money: bool) -> Table:
    """A row a column: what it sells, holds and needs. Of `gates.demands_whole`.

    Without `money` the column of margins is left out, not left empty.
    """
    head = [
        *("machine", "column", "product", "fitted on", "intervals", "units sold", "ran dry"),
        *("latest sale", "units a day", "as of", "holds, about", "holds at least"),
        *("holds at most", "capacity", "dry in half of cases", "dry in one of twenty"),
        *("chance dry in a week", "units lost in a week", "margin lost in a week"),
        *("fill to", "par", "to put in, about", "to pull", "why"),
    ]
    margin = head.index("margin lost in a week")

    def lines() -> Iterator[Sequence[Cell]]:
        for one in rows:
            line = _need_line(one)
            yield line if money else (*line[:margin], *line[margin + 1 :])

    if not money:
        del head[margin]
    return Table("Needs", head, lines(), zone)


def _need_line(one: ColumnDemand) -> Sequence[Cell]:
    column = one.column
    need: ColumnNeed | None = getattr(column, "need", None)
    demand: tuple[Cell, ...] = (
        column.machine.asset_tag,
        column.position.label,
        one.product.name,
        one.get_basis_display(),
        one.intervals,
        one.units,
        one.dry_intervals,
        one.last_sale_day,
        _part(one.a_day, 2),
    )
    if need is None:
        return (*demand, *NOT_WORKED_OUT, "not worked out yet")
    return (
        *demand,
        need.day,
        _part(need.stock_expected, 1),
        _part(need.stock_low, 0),
        _part(need.stock_high, 0),
        need.capacity,
        need.dry_median_day,
        need.dry_early_day,
        _part(need.chance_dry_in_a_week, 3),
        _part(need.units_lost_in_a_week, 1),
        need.margin_lost_in_a_week,
        need.fill_to,
        need.par,
        _part(need.fill_expected, 1),
        need.pull_units,
        " ".join(str(reason["text"]) for reason in need.reasons),
    )


def fitted(runs: Iterable[FitRun], zone: ZoneInfo) -> Table:
    """A row a run of the refit: on what, how it ended, how it fared. Of `gates.runs_whole`.

    Parts of truths within a band are between 0 and 1, each beside the part that was meant.
    """
    head = (
        *("fit", "day", "asked by", "state", "begun at", "done at", "machines", "columns"),
        *("intervals", "outcome", "held against", "ran dry", "tried back", "score", "bias"),
        *("units in a mean interval", "in 50 % band", "meant in 50 % band", "in 80 % band"),
        *("meant in 80 % band", "in 95 % band", "meant in 95 % band"),
    )
    return Table("Fits", head, (_fit_line(one) for one in runs), zone)


def _fit_line(run: FitRun) -> Sequence[Cell]:
    asked = run.asked_by.name if run.asked_by else "the service"
    line: tuple[Cell, ...] = (
        run.pk,
        run.day,
        "the night" if run.is_nightly else asked,
        run.get_state_display(),
        run.started_at,
        run.finished_at,
        run.machines,
        run.columns,
        run.intervals,
        run.outcome,
    )
    fared = fits.fared(run.chunks.all())
    if fared is None:
        return (*line, 0, *(None,) * 11)
    found, bias = fared.calibration, fared.calibration.bias
    bands = {percent: (inside, meant) for percent, inside, meant in fared.bands}
    return (
        *line,
        found.intervals,
        found.ran_dry,
        fared.tried_back,
        _part(found.crps, 3),
        None if bias is None else _part(bias, 3),
        _part(fared.a_mean_interval, 2),
        *(_part(one, 3) for percent in (50, 80, 95) for one in bands[percent]),
    )


def _part(value: float | None, places: int) -> Decimal | None:
    """A figure as far as it says anything: what is expected is never known to the last digit."""
    return None if value is None else round(Decimal(str(value)), places)
