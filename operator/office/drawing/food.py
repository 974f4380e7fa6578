"""A machine's food temperatures drawn: readings beside the limit, fillings, and when it locked."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.safestring import SafeString

from service.compliance.queries.temperatures import Course
from service.compute.food_code import Hold, Service

from .canvas import Canvas

WIDE, HIGH = 560.0, 160.0


def course_drawn(course: Course, zone: ZoneInfo, *, ident: str) -> SafeString | str:
    """Readings of the last days; those out of limits are crossed, a filling or service is a tick
    above, the dash-dotted line is the limit. Nothing where nothing was read."""
    readings = course.readings
    if not readings:
        return ""
    canvas = Canvas(1.0)
    limit = float(course.limit_c)
    values = [float(one.value) for one in readings]
    low, top = min(*values, limit) - 1.0, max(*values, limit) + 1.0
    services = [one for one in course.events if isinstance(one, Service)]
    moments = [one.taken_at for one in readings] + [one.at for one in services]
    starts, ends = min(moments), max(moments)
    span = max((ends - starts).total_seconds(), 3600.0)

    def across(at: datetime) -> float:
        return (at - starts).total_seconds() / span * WIDE

    def up(value: float) -> float:
        return (value - low) / (top - low) * HIGH

    canvas.line("dim", (0, 0), (WIDE, 0))
    canvas.line("fill-line", (0, up(limit)), (WIDE, up(limit)))
    words = "at most" if course.hold is Hold.COLD else "at least"
    canvas.text(f"{words} {limit:g} °C", WIDE + 8, -up(limit) + 4, css="num")
    for value in (low, top):
        canvas.pixels("notch", (-6, -up(value)), (0, -up(value)))
        canvas.text(f"{value:.0f}", -10, -up(value) + 4, anchor="end")
    for service in services:
        x = across(service.at)
        canvas.pixels("hour", (x, -HIGH), (x, -HIGH - 10))
    if services:
        canvas.text("filled or serviced", WIDE + 8, -HIGH - 2)
    canvas.line("band-mean", *((across(one.taken_at), up(float(one.value))) for one in readings))
    for one in readings:
        x, y = across(one.taken_at), up(float(one.value))
        if course.limits.beyond(course.hold, one.value):
            canvas.pixels("spacer", (x - 4, -y - 4), (x + 4, -y + 4))
            canvas.pixels("spacer", (x - 4, -y + 4), (x + 4, -y - 4))
        else:
            box = [(x - 3, y - 3), (x - 3, y + 3), (x + 3, y + 3), (x + 3, y - 3)]
            canvas.shape("stop-box", box)
    if course.lock is not None and starts <= course.lock.since <= ends:
        x = across(course.lock.since)
        canvas.pixels("shift-end", (x, 0), (x, -HIGH))
        canvas.text("locked", x, 34, anchor="middle")
    for at, anchor, x in ((starts, "start", 0.0), (ends, "end", WIDE)):
        local = at.astimezone(zone)
        canvas.text(f"{local.day} {local:%b %H:%M}", x, 18, anchor=anchor)
    beyond = sum(course.limits.beyond(course.hold, one.value) for one in readings)
    desc = (
        f"{len(readings)} readings, the last {values[-1]:.1f} °C; {words} {limit:g} °C is allowed; "
        f"{beyond} were out of it."
    )
    title = f"Temperatures of {course.machine}"
    return canvas.svg(ident=ident, title=title, desc=desc, css="chart readings")
