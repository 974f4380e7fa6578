"""A driver's day as one thin strip in time, for a board of many: all strips to one scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.html import conditional_escape, format_html
from django.utils.safestring import SafeString, mark_safe

from service.runs.models import Run, Stop
from service.runs.offered import Offer
from service.runs.queries.dispatch import Lane

from .canvas import figure

WIDE = 640.0
BOX = 20.0
TOP = 5.0
HIGH = 34.0
LEAST_BOX = 5.0
DIGIT = 6.4  # of the monospaced face at 10 px


@dataclass(frozen=True)
class Scale:
    """Whole hours from `first`; a moment outside lies at the edge."""

    first: datetime
    hours: int
    zone: ZoneInfo

    def x(self, moment: datetime) -> float:
        minutes = (moment - self.first).total_seconds() / 60
        return min(max(minutes / (self.hours * 60), 0.0), 1.0) * WIDE

    def said(self, moment: datetime) -> str:
        return f"{timezone.localtime(moment, self.zone):%H:%M}"


def scale_of(lanes: Sequence[Lane], zone: ZoneInfo) -> Scale | None:
    """One scale for all lanes; None where nobody has a run."""
    runs = [lane.run for lane in lanes if lane.run is not None]
    if not runs:
        return None
    first = min(run.planned_start for run in runs)
    last = max(max(run.shift_ends, run.planned_end) for run in runs)
    begins = timezone.localtime(first, zone).replace(minute=0, second=0, microsecond=0)
    minutes = (last - begins).total_seconds() / 60
    return Scale(begins, max(1, math.ceil(minutes / 60)), zone)


def ruler(scale: Scale) -> SafeString:
    """The hours above the strips."""
    every = 1 if scale.hours <= 12 else 2
    body = "".join(
        f'<text x="{figure(number * WIDE / scale.hours)}" y="10" text-anchor="'
        f'{"start" if number == 0 else "middle"}">'
        f"{scale.said(scale.first + timedelta(hours=number))}</text>"
        for number in range(0, scale.hours, every)
    )
    return format_html(
        '<svg class="strip ruler" viewBox="0 0 {} 14" aria-hidden="true">{}</svg>',
        figure(WIDE),
        mark_safe(body),  # noqa: S308 - figures alone
    )


def strip(lane: Lane, scale: Scale, now: datetime, offer: Offer | None = None) -> SafeString:
    """One driver's day: done in grey, tickets marked, and where the chosen ticket would go."""
    run = lane.run
    parts = [
        f'<path class="hour" d="M{figure(number * WIDE / scale.hours)},0V{figure(HIGH)}"/>'
        for number in range(1, scale.hours)
    ]
    middle = TOP + BOX / 2
    if run is not None:
        start, end = scale.x(run.planned_start), scale.x(run.planned_end)
        parts.append(f'<path class="travel" d="M{figure(start)},{middle}H{figure(end)}"/>')
        parts += [
            _box(stop, number, scale)
            for number, stop in enumerate(lane.stops, start=1)
            if stop.state != Stop.State.SKIPPED
        ]
    ends = scale.x(lane.shift_ends)
    parts.append(f'<path class="shift-end" d="M{figure(ends)},0V{figure(HIGH)}"/>')
    if scale.first <= now <= scale.first + timedelta(hours=scale.hours):
        parts.append(f'<path class="now" d="M{figure(scale.x(now))},0V{figure(HIGH)}"/>')
    if offer is not None:
        left, right = scale.x(offer.begins_at), scale.x(offer.leaves_at)
        width = max(right - left, LEAST_BOX)
        css = "would" if offer.is_clean else "would breaks"
        parts.append(
            f'<path class="{css}" d="M{figure(left)},{TOP - 3}h{figure(width)}v{BOX + 6}'
            f'h{figure(-width)}Z"/>'
        )
    return format_html(
        '<svg class="strip" viewBox="0 0 {} {}" role="img" aria-label="{}">{}</svg>',
        figure(WIDE),
        figure(HIGH),
        _told(lane, run, scale, offer),
        mark_safe("".join(parts)),  # noqa: S308 - figures, and words that were escaped
    )


def _box(stop: Stop, number: int, scale: Scale) -> str:
    left, right = scale.x(stop.planned_arrive), scale.x(stop.planned_leave)
    width = max(right - left, LEAST_BOX)
    tickets = getattr(stop, "ticket_count", 0)
    css = f"stop-box {stop.state}{' has-ticket' if tickets else ''}"
    said = conditional_escape(f"{stop.machine.asset_tag} {scale.said(stop.planned_arrive)}")
    found = (
        f'<path class="{css}" d="M{figure(left)},{TOP}h{figure(width)}v{BOX}h{figure(-width)}Z">'
        f"<title>{said}</title></path>"
    )
    if width >= DIGIT * len(str(number)) + 3:
        found += (
            f'<text class="num" x="{figure(left + width / 2)}" y="{figure(TOP + BOX / 2 + 3.5)}" '
            f'text-anchor="middle">{number}</text>'
        )
    if tickets:
        # A flag over the box: a ticket is seen to there.
        found += f'<path class="flag" d="M{figure(left)},{TOP}v-5h7l-2,2.5l2,2.5"/>'
    return found


def _told(lane: Lane, run: Run | None, scale: Scale, offer: Offer | None) -> str:
    if run is None:
        said = f"{lane.driver} has no run yet"
    else:
        stops = ", ".join(
            f"{stop.machine.asset_tag} {scale.said(stop.planned_arrive)}"
            f"{' done' if stop.state == Stop.State.DONE else ''}"
            for stop in lane.stops
        )
        said = f"{lane.driver}, until {scale.said(run.planned_end)}: {stops or 'no stops'}"
    if offer is not None:
        said += f". The chosen ticket would be seen to at {scale.said(offer.begins_at)}"
    return said
