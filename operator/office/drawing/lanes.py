"""A day's runs drawn as lanes in time: stops as boxes to the scale of minutes, travel as lines."""

import math
from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.safestring import SafeString

from service.runs.models import Run, Stop
from service.runs.queries.planned import Open, ShownRun, ShownStop

from .canvas import Canvas

WIDE = 1040.0
BOX = 30.0
HEAD = 20.0  # above the boxes, for tags
HOURS = 9.0  # between the lines of two stops' hours
GAP = 26.0  # between lanes
LEAST_PX_A_MINUTE = 1.4
GLYPH = 6.7  # of the monospaced face at 11 px


class _Lanes:
    """What is drawn, and where a moment lies."""

    def __init__(self, runs: Sequence[ShownRun], zone: ZoneInfo) -> None:
        self.zone = zone
        first = min(one.run.planned_start for one in runs)
        last = max(max(one.run.shift_ends, one.run.planned_end) for one in runs)
        self.first = timezone.localtime(first, zone).replace(minute=0, second=0, microsecond=0)
        self.last = last
        minutes = (last - self.first).total_seconds() / 60
        self.hours = max(1, math.ceil(minutes / 60))
        self.px = max(WIDE / (self.hours * 60), LEAST_PX_A_MINUTE)
        self.canvas = Canvas(1.0)

    def x(self, moment: datetime) -> float:
        minutes = (moment - self.first).total_seconds() / 60
        return min(max(minutes, 0.0), self.hours * 60.0) * self.px

    def scale(self, height: float) -> None:
        """Hours above, and a hair down through the lanes at each."""
        for number in range(self.hours + 1):
            moment = self.first + timedelta(hours=number)
            x = number * 60 * self.px
            self.canvas.pixels("hour", (x, 16), (x, height))
            self.canvas.text(
                f"{timezone.localtime(moment, self.zone):%H:%M}", x, 10, anchor="middle"
            )

    def lane(self, one: ShownRun, top: float) -> float:
        """Draw a run; where the next may begin."""
        run, canvas = one.run, self.canvas
        canvas.text(_head(one), 0, top + 11, css="num")
        box = top + 18 + HEAD
        kept = [shown for shown in one.stops if shown.stop.state != Stop.State.SKIPPED]
        rows = [shown for shown in kept if _worth_drawing(shown.hours, run)]
        bottom = box + BOX + 10 + HOURS * len(rows)
        start, end = self.x(run.planned_start), self.x(run.planned_end)
        self._rect("lane", 0, box - 6, self.hours * 60 * self.px, BOX + 12, lane=run.pk)
        middle = box + BOX / 2
        canvas.pixels("travel", (start, middle), (end, middle))
        loaded = self.x(run.planned_start + timedelta(minutes=run.depot.loading_minutes))
        back = self.x(run.planned_end + timedelta(minutes=run.depot.unloading_minutes))
        self._rect("at-depot", start, box + 4, loaded - start, BOX - 8)
        self._rect("at-depot", end, box + 4, back - end, BOX - 8)
        free = 0.0
        for shown in kept:
            free = self._stop(shown, box, free)
        for number, shown in enumerate(rows):
            self._hours(shown, box + BOX + 10 + HOURS * number)
        ends = self.x(run.shift_ends)
        canvas.pixels("shift-end", (ends, top + 16), (ends, bottom))
        said = f"shift ends {timezone.localtime(run.shift_ends, self.zone):%H:%M}"
        canvas.text(said, ends - 4, top + 11, anchor="end", css="set-text")
        return bottom + GAP

    def _stop(self, shown: ShownStop, top: float, free: float) -> float:
        stop = shown.stop
        left, right = self.x(stop.planned_arrive), self.x(stop.planned_leave)
        width = max(right - left, 4.0)
        css = f"stop-box {stop.state}"
        css += " must" if stop.must_go else ""
        css += " kept" if stop.locked else ""
        css += " misses" if shown.misses_hours else ""
        can = stop.state == Stop.State.PLANNED and not stop.locked
        self._rect(
            css, left, top, width, BOX,
            stop=stop.pk, run=stop.run_id, place=shown.place, movable="yes" if can else "no",
        )  # fmt: skip
        number = str(shown.place)
        if width >= GLYPH * len(number) + 4:
            self.canvas.text(
                number, left + width / 2, top + BOX / 2 + 4, anchor="middle", css="num"
            )
        tag = stop.machine.asset_tag
        middle = left + width / 2
        half = GLYPH * len(tag) / 2
        # A tag that would run into the one before is left out: the list below has it.
        if middle - half >= free:
            self.canvas.text(tag, middle, top - 9, anchor="middle")
            return middle + half + 4
        return free

    def _hours(self, shown: ShownStop, y: float) -> None:
        """When the site can be entered, as a dimension line under the box."""
        for one in shown.hours:
            left, right = self.x(one.opens), self.x(one.closes)
            self.canvas.pixels("hours", (left, y), (right, y))
            self.canvas.pixels("hours", (left, y - 2), (left, y + 2))
            self.canvas.pixels("hours", (right, y - 2), (right, y + 2))
            self.canvas.text(str(shown.place), left - 4, y + 3, anchor="end", css="tiny")

    def _rect(
        self, css: str, x: float, y: float, width: float, height: float, **data: object
    ) -> None:
        corners = ((x, -y), (x + width, -y), (x + width, -y - height), (x, -y - height))
        self.canvas.shape(css, corners, **data)


def lanes(runs: Sequence[ShownRun], zone: ZoneInfo, *, ident: str, title: str) -> SafeString:
    """The runs of a day, one lane each. At least one run is given."""
    sheet = _Lanes(runs, zone)
    # Hairs lie under the lanes, so how deep they reach is reckoned first.
    depth = 26.0
    for one in runs:
        hours = sum(
            _worth_drawing(shown.hours, one.run)
            for shown in one.stops
            if shown.stop.state != Stop.State.SKIPPED
        )
        depth += 18 + HEAD + BOX + 10 + HOURS * hours + GAP
    sheet.scale(depth - GAP)
    top = 26.0
    for one in runs:
        top = sheet.lane(one, top)
    desc = " ".join(_told(one, zone) for one in runs)
    return sheet.canvas.svg(ident=ident, title=title, desc=desc, css="lanes")


def _worth_drawing(hours: Sequence[Open], run: Run) -> bool:
    """Hours in which all of the run could happen mark nothing."""
    begins, ends = run.planned_start, max(run.shift_ends, run.planned_end)
    return bool(hours) and not any(one.opens <= begins and ends <= one.closes for one in hours)


def _head(one: ShownRun) -> str:
    run = one.run
    state = "" if run.state == Run.State.PLANNED else f", {run.get_state_display()}"
    return f"{run.vehicle.name} · {run.driver}{state}"


def _told(one: ShownRun, zone: ZoneInfo) -> str:
    starts, ends = (
        f"{timezone.localtime(moment, zone):%H:%M}"
        for moment in (one.run.planned_start, one.run.planned_end)
    )
    tags = ", ".join(shown.stop.machine.asset_tag for shown in one.stops) or "no stops"
    return f"{one.run.vehicle.name}, {one.run.driver}, {starts} to {ends}: {tags}."
