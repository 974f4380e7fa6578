"""How a fit gets on, and how well fits foretold what came."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from fleet.compute.demand import Calibration

from ..models import FitChunk, FitRun

#: How far back the rolling calibration looks from its latest run.
ROLLING: Final = timedelta(days=28)


@dataclass(frozen=True)
class Progress:
    """How far a run is: parts and columns done of all, and whether any part was given up."""

    parts: int
    parts_done: int
    parts_failed: int
    columns: int
    columns_done: int

    @property
    def share(self) -> float:
        """From 0 to 1, by columns."""
        return self.columns_done / self.columns if self.columns else 1.0


@dataclass(frozen=True)
class Fared:
    """How forecasts fared, in sums over intervals.

    `tried_back` marks a first fit that was tried on the weeks before it.
    """

    calibration: Calibration
    tried_back: bool

    @property
    def bands(self) -> list[tuple[int, float, float]]:
        """Each band in percent: how often the truth fell within it, how often it was meant to.

        Bands of whole units hold more than their name says: it is the second that they are held to.
        """
        count = self.calibration.intervals
        return [
            (round(band.level * 100), band.within / count, band.expected / count)
            for band in self.calibration.bands
        ]

    @property
    def a_mean_interval(self) -> float:
        """Units asked for in a mean interval, beside which the score is to be seen."""
        return self.calibration.units / self.calibration.intervals


def progress(run: FitRun) -> Progress:
    """Asks for the run's chunks as `runs_whole` fetches them; makes no query of its own then."""
    chunks = list(run.chunks.all())
    done = [one for one in chunks if one.state == FitChunk.State.DONE]
    failed = [one for one in chunks if one.state == FitChunk.State.FAILED]
    return Progress(
        parts=len(chunks),
        parts_done=len(done),
        parts_failed=len(failed),
        columns=sum(one.columns for one in chunks),
        columns_done=sum(one.columns for one in (*done, *failed)),
    )


def fared(chunks: Iterable[FitChunk]) -> Fared | None:
    """What the parts' scores add up to; None where nothing could be held against the truth."""
    told = [one.scores for one in chunks if one.scores.get("intervals")]
    if not told:
        return None
    sums = [Calibration.from_json({k: v for k, v in one.items() if k != "how"}) for one in told]
    return Fared(Calibration.of(sums), any(one["how"] == "back" for one in told))


def rolling(until: FitRun | None = None) -> Fared | None:
    """The calibration of the runs of the last four weeks together, up to a run, or the latest.

    Runs that foretold ahead count; where there are none yet, the latest that was tried back.
    """
    latest = until or FitRun.objects.order_by("-started_at", "-pk").first()
    if latest is None:
        return None
    chunks = list(
        FitChunk.objects.filter(
            state=FitChunk.State.DONE,
            run__started_at__gt=latest.started_at - ROLLING,
            run__started_at__lte=latest.started_at,
        )
        .only("scores", "run_id")
        .order_by("-run", "number")
    )
    ahead = [one for one in chunks if one.scores.get("how") == "ahead"]
    found = fared(ahead)
    if found is not None:
        return found
    back = [one for one in chunks if one.scores.get("intervals")]
    return fared([one for one in back if one.run_id == back[0].run_id]) if back else None
