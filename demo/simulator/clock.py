"""The machine's own clock, which nobody looks at."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

# Where a clock starts that has lost its battery.
_FIRST_MOMENT = datetime(2010, 1, 1)  # noqa: DTZ001 - a machine's clock knows no offset


@dataclass(frozen=True)
class Clock:
    """From the site's wall clock to what the machine shows; both without an offset."""

    set_at: datetime
    gains_s_per_day: int = 0
    lost_at: datetime | None = None

    def shows(self, at: datetime) -> datetime:
        if self.lost_at is not None and at >= self.lost_at:
            return _FIRST_MOMENT + (at - self.lost_at)
        days = (at - self.set_at).total_seconds() / 86_400
        return at + timedelta(seconds=int(days * self.gains_s_per_day))
