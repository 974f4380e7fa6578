"""From an element's text to its value. Blank is None; what cannot be read is None and named."""

from dataclasses import dataclass
from datetime import datetime

from fleet.compute.audit.dictionary import SEGMENTS
from fleet.compute.audit.limits import MOST_DIGITS
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import MachineTime, Segment
from fleet.compute.audit.totals import NO_AMOUNTS, NO_COUNTERS, Amounts, Counters

# All ones in 32 bits: a board's way of saying that a field was never set.
UNSET = "4294967295"
_NO_TIME = MachineTime()

# Most figures are small; looking one up is several times faster than checking and converting it.
_SMALL = {str(value): value for value in range(1000)}
_FOUR_ZEROS = ("0", "0", "0", "0")
# No counter of the standard's runs of four is narrower, so up to here no width need be looked up.
_NARROWEST = 6
_ZERO = Counters(0, 0, 0, 0)

Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Places:
    """Where a segment keeps a quantity: each an index into the elements (-1: nowhere) and a width.

    `run` is the index of the first where all four stand side by side as count, value, count,
    value, never-reset ones first; else -1.
    """

    count_ever: Place
    value_ever: Place
    count_since_reset: Place
    value_since_reset: Place
    run: int = -1


def places(segment: str, group: str) -> Places:
    """The places of a quantity, as "paid" of PA2, from the dictionary of the standard."""
    found = {
        (element.is_money, element.period): (element.position - 1, element.digits or 0)
        for element in SEGMENTS[segment]
        if element.group == group and element.is_counter
    }
    if not found:
        raise LookupError(f"segment {segment} has no counter named {group}")
    nowhere = (-1, 0)
    four = (
        found.get((False, "I"), nowhere),
        found.get((True, "I"), nowhere),
        found.get((False, "R"), nowhere),
        found.get((True, "R"), nowhere),
    )
    start = four[0][0]
    side_by_side = start >= 0 and [index for index, _ in four] == list(range(start, start + 4))
    return Places(*four, run=start if side_by_side else -1)


class Values:
    """Reads values out of segments and notes what is odd about them."""

    __slots__ = ("notices",)

    def __init__(self, notices: Notices) -> None:
        self.notices = notices

    def text(self, segment: Segment, position: int) -> str | None:
        """Element `position` (from 1) as trimmed text; None if blank or never set."""
        elements = segment.elements
        if position > len(elements):
            return None
        text = elements[position - 1]
        if text == UNSET:
            self.notices.add("unset_value", f"{segment.id}{position:02d}", segment.line)
            return None
        return text or None

    def number(self, segment: Segment, position: int) -> int | None:
        """Element `position` (from 1) as an integer that is not below 0; None if blank or none."""
        elements = segment.elements
        if position > len(elements):
            return None
        text = elements[position - 1]
        small = _SMALL.get(text)
        if small is not None:
            return small
        if not text:
            return None
        if len(text) <= 9 and text.isascii() and text.isdigit():
            return int(text)
        return self._odd_number(segment, position, text, 0)

    def counters(self, segment: Segment | None, where: Places) -> Counters:
        """A count and its money, by the places that :func:`places` gives."""
        if segment is None:
            return NO_COUNTERS
        run = where.run
        if run >= 0:
            four = segment.elements[run : run + 4]
            if four == _FOUR_ZEROS:
                return _ZERO
            if len(four) == 4 and "" not in four and max(map(len, four)) <= _NARROWEST:
                digits = "".join(four)
                if digits.isascii() and digits.isdigit():
                    return Counters(*map(int, four))
        count_ever = self._counter(segment, where.count_ever)
        value_ever = self._counter(segment, where.value_ever)
        count_since_reset = self._counter(segment, where.count_since_reset)
        value_since_reset = self._counter(segment, where.value_since_reset)
        if count_ever is value_ever is count_since_reset is value_since_reset is None:
            return NO_COUNTERS
        return Counters(count_ever, value_ever, count_since_reset, value_since_reset)

    def amounts(self, segment: Segment | None, where: Places) -> Amounts:
        """Money only, by the places that :func:`places` gives."""
        if segment is None:
            return NO_AMOUNTS
        ever = self._counter(segment, where.value_ever)
        since_reset = self._counter(segment, where.value_since_reset)
        if ever is since_reset is None:
            return NO_AMOUNTS
        return Amounts(ever, since_reset)

    def counts(self, segment: Segment, where: Places) -> tuple[int | None, int | None]:
        """A count without money: ever and since reset."""
        return (
            self._counter(segment, where.count_ever),
            self._counter(segment, where.count_since_reset),
        )

    def time(
        self, segment: Segment | None, date: int, time: int, seconds: int | None = None
    ) -> MachineTime:
        """Date and time elements (positions from 1), with `seconds` where the time has none."""
        if segment is None:
            return _NO_TIME
        date_text = self.text(segment, date)
        time_text = self.text(segment, time)
        if date_text is None and time_text is None:
            return _NO_TIME
        seconds_text = self.text(segment, seconds) if seconds else None
        day = _date(date_text)
        clock = _time(time_text, seconds_text)
        if date_text and day is None and date_text.strip("0"):
            self.notices.add("bad_date", f"{segment.id}{date:02d}", segment.line, date_text[:20])
        if time_text and clock is None:
            self.notices.add("bad_time", f"{segment.id}{time:02d}", segment.line, time_text[:20])
        at = None
        if day and clock and date_text and time_text:
            at = datetime(*day, *clock)  # noqa: DTZ001 - a machine's clock has no offset
        return MachineTime(date_text, time_text, at)

    def _counter(self, segment: Segment, place: Place) -> int | None:
        index, width = place
        elements = segment.elements
        if not 0 <= index < len(elements):
            return None
        text = elements[index]
        small = _SMALL.get(text)
        if small is not None:
            return small
        if not text:
            return None
        if len(text) <= (width or 9) and text.isascii() and text.isdigit():
            return int(text)
        return self._odd_number(segment, index + 1, text, width)

    def _odd_number(self, segment: Segment, position: int, text: str, width: int) -> int | None:
        where = f"{segment.id}{position:02d}"
        if text == UNSET:
            self.notices.add("unset_value", where, segment.line)
            return None
        digits = text.lstrip("0") or "0"
        if not (text.isascii() and text.isdigit()) or len(digits) > MOST_DIGITS:
            self.notices.add("not_a_number", where, segment.line, text[:20])
            return None
        if width and len(digits) > width:
            self.notices.add("wider_than_standard", where, segment.line, text[:20])
        return int(digits)


def _date(text: str | None) -> tuple[int, int, int] | None:
    """Year, month, day of YYMMDD (this century) or YYYYMMDD; None for anything else."""
    if text is None or len(text) not in (6, 8) or not (text.isascii() and text.isdigit()):
        return None
    year = int(text[:-4]) + (2000 if len(text) == 6 else 0)
    month, day = int(text[-4:-2]), int(text[-2:])
    try:
        datetime(year, month, day)  # noqa: DTZ001 - only asked whether the day exists
    except ValueError:
        return None
    return year, month, day


def _time(text: str | None, seconds: str | None) -> tuple[int, int, int] | None:
    """Hour, minute, second of HHMM or HHMMSS; a lost leading zero is put back."""
    if text is None or not 3 <= len(text) <= 6 or not (text.isascii() and text.isdigit()):
        return None
    digits = text.zfill(4 if len(text) < 5 else 6)
    hour, minute = int(digits[:2]), int(digits[2:4])
    second = int(digits[4:]) if len(digits) == 6 else 0
    if len(digits) == 4 and seconds and seconds.isascii() and seconds.isdigit():
        second = int(seconds[:3])
    if hour > 23 or minute > 59 or second > 59:
        return None
    return hour, minute, second
