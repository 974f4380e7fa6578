"""What the demand model takes for granted, in one place."""

from dataclasses import dataclass

from .arrays import BadSales


@dataclass(frozen=True, slots=True)
class DemandSettings:
    """Knobs of the model. Figures found by trial on synthetic fleets; none is published.

    half_lives_days       how fast sales may lose their weight; each column learns its mixture
    weekday_worth_sales   the fleet's weekdays count as this many sales of each machine, until the
                          fleet has shown how far its machines differ
    season_worth_sales    no season at all counts as this many sales of the fleet in each week
    season_reaches_weeks  standard deviations of the kernels that smooth the season, to choose from
    trend_damping         part of the season's weekly trend that lasts from week to week
    leap_a_week           chance in a week that the trade of a machine leaps, if of those that do
    pool_worth_sales      the fleet's mean counts as this many sales of each machine and product
    dispersion_worth      the pooled dispersion counts as this many weeks of a column
    score_memory          part of a week's log score that still counts a week later
    history_days          older sales are left out
    """

    half_lives_days: tuple[float, ...] = (2, 4, 7, 14, 28, 56, 112, 448)
    weekday_worth_sales: float = 100
    season_worth_sales: float = 100
    season_reaches_weeks: tuple[float, ...] = (1.5, 2.5, 4, 7)
    trend_damping: float = 0.7
    leap_a_week: float = 0.01
    pool_worth_sales: float = 10
    dispersion_worth: float = 12
    score_memory: float = 0.95
    history_days: int = 400

    def __post_init__(self) -> None:
        if not self.half_lives_days or min(self.half_lives_days) <= 0:
            raise BadSales("settings.half_lives_days", "must name one or more, all above zero")
        if not 0 <= self.trend_damping <= 1:
            raise BadSales("settings.trend_damping", "must be 0 to 1")
        if not 0 <= self.leap_a_week < 1:
            raise BadSales("settings.leap_a_week", "must be 0 or more and below 1")
        if not 0 < self.score_memory <= 1:
            raise BadSales("settings.score_memory", "must be above 0, at most 1")
        if self.history_days < 7:
            raise BadSales("settings.history_days", "must be 7 or more")
        for name in ("weekday", "season", "pool"):
            if getattr(self, f"{name}_worth_sales") <= 0:
                raise BadSales(f"settings.{name}_worth_sales", "must be above zero")
        if not self.season_reaches_weeks or min(self.season_reaches_weeks) <= 0:
            raise BadSales("settings.season_reaches_weeks", "must name one or more, all above zero")
        if self.dispersion_worth <= 0:
            raise BadSales("settings.dispersion_worth", "must be above zero")


DEFAULT_SETTINGS = DemandSettings()
