"""Opening hours as a person writes them: `Mon-Fri 7:30-16:00`, a line for each window."""

import re
from collections.abc import Iterable
from datetime import time
from typing import Any

from fleet.machines.models import OpeningWindow

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_LINE = re.compile(
    r"(?P<first>[a-z]{3})[a-z]*\s*(?:[-–]\s*(?P<last>[a-z]{3})[a-z]*)?\s+"
    r"(?P<opens>\d{1,2}(?::\d\d)?)\s*[-–]\s*(?P<closes>\d{1,2}(?::\d\d)?)",
    re.IGNORECASE,
)


def windows_of(text: str) -> list[dict[str, Any]]:
    """The windows of each weekday. Raises ValueError, naming the line that cannot be read."""
    found = []
    for line in text.splitlines():
        if not line.strip():
            continue
        match = _LINE.fullmatch(line.strip())
        if match is None:
            raise ValueError(f"{line.strip()!r} cannot be read; write it like Mon-Fri 7:30-16:00")
        first, last = _day(match["first"], line), _day(match["last"] or match["first"], line)
        if last < first:
            raise ValueError(f"{line.strip()!r}: the days run from Monday to Sunday")
        opens, closes = _time(match["opens"], line), _time(match["closes"], line)
        found += [
            {"weekday": weekday, "opens": opens, "closes": closes}
            for weekday in range(first, last + 1)
        ]
    return found


def said(windows: Iterable[OpeningWindow]) -> str:
    """Stored windows as lines; days in a row with the same hours share one."""
    lines: list[tuple[int, int, str]] = []
    for window in sorted(windows, key=lambda one: (one.opens, one.closes, one.weekday)):
        hours = f"{window.opens:%H:%M}-{window.closes:%H:%M}"
        if lines and lines[-1][2] == hours and lines[-1][1] == window.weekday - 1:
            lines[-1] = (lines[-1][0], window.weekday, hours)
        else:
            lines.append((window.weekday, window.weekday, hours))
    return "\n".join(
        f"{DAYS[first]}{'' if first == last else '-' + DAYS[last]} {hours}"
        for first, last, hours in sorted(lines)
    )


def _day(word: str, line: str) -> int:
    try:
        return DAYS.index(word.capitalize())
    except ValueError as error:
        raise ValueError(f"{line.strip()!r}: {word} is no day of the week") from error


def _time(text: str, line: str) -> time:
    hours, _, minutes = text.partition(":")
    try:
        return time(int(hours), int(minutes or 0))
    except ValueError as error:
        raise ValueError(f"{line.strip()!r}: {text} is no time of the day") from error
