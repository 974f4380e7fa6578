"""From bytes to segments: finds the block of data and splits it into lines and elements."""

import re
from dataclasses import dataclass

from fleet.compute.audit import limits
from fleet.compute.audit.dictionary import SEGMENTS
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.redact import (
    Encoding,
    decode,
    holds_passwords,
    redact_elements,
    without_controls,
)
from fleet.compute.audit.report import Segment

# A segment begins a line; some links put control characters (STX, NUL) right before the first.
# A blank is none of them: a machine in "MAIN ST" does not begin a block with its address.
_BEFORE_FIRST = frozenset((*range(0x20), 0x7F))
_BEFORE = frozenset(b"\r\n")
_AFTER_ID = frozenset(b"*\r\n")
_LINE_END = re.compile(rb"\r\n|\r|\n")
_CLOSING_LINE = re.compile(rb"[^\r\n\x00\x1a]*(?:\r\n|\r|\n)?")
_FREE_OF_PASSWORDS = frozenset(SEGMENTS) - {"SD1"}
_CONTROL = re.compile(rb"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class Block:
    """The first block of data of a file: its bytes, its segments, and what stood around it."""

    content: bytes
    segments: tuple[Segment, ...]
    has_envelope: bool
    bytes_before: int
    bytes_after: int
    encoding: Encoding


def find_block(data: bytes, notices: Notices) -> Block:
    """The first DXS…DXE or ST…SE block of a file, or all of it where neither begins one."""
    start, end, has_envelope = _bounds(data)
    content = data[start:end]
    before = len(data[:start].strip(b"\r\n"))
    rest = data[end:]
    after = len(rest.strip(b"\r\n"))
    if before:
        notices.add("text_before", "file", 1, f"{before} bytes")
    if after:
        another = max(find_segment(data, b"DXS", end), find_segment(data, b"ST", end)) >= 0
        notices.add("more_than_one_block" if another else "text_after", "file", None, f"{after} B")
    text, encoding = decode(content)
    if encoding != "ascii":
        notices.add("not_ascii", "file", None, f"read as {encoding}")
    cleaned = text
    if encoding != "ascii" or _CONTROL.search(content):
        cleaned = without_controls(text)
    if len(cleaned) != len(text):
        notices.add("control_characters", "file")
    lines = cleaned.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    first = 1 + len(_LINE_END.findall(data, 0, start)) if start else 1
    segments = tuple(_segments(lines, first, encoding == "ascii", notices))
    return Block(content, segments, has_envelope, before, after, encoding)


def find_segment(data: bytes, name: bytes, start: int = 0, first: bool = False) -> int:
    """Offset of the next line that begins with the segment `name`, or -1.

    With `first`, control characters may stand right before it, as before a whole block.
    """
    before = _BEFORE_FIRST if first else _BEFORE
    size = len(name)
    at = data.find(name, start)
    while at >= 0:
        end = at + size
        if (at == 0 or data[at - 1] in before) and (end == len(data) or data[end] in _AFTER_ID):
            return at
        at = data.find(name, end)
    return -1


def _bounds(data: bytes) -> tuple[int, int, bool]:
    sender = find_segment(data, b"DXS", first=True)
    opening = find_segment(data, b"ST", first=True)
    starts = [at for at in (sender, opening) if at >= 0]
    if not starts:
        return 0, len(data), False
    start = min(starts)
    # What follows a second sender belongs to another block, and its DXE closes nothing here.
    another = find_segment(data, b"DXS", start + 1)
    limit = another if another >= 0 else len(data)
    for closing in (b"DXE", b"SE"):
        if closing == b"DXE" and start != sender:
            continue
        end = find_segment(data, closing, start)
        if 0 <= end < limit:
            line = _CLOSING_LINE.match(data, end)
            return start, line.end() if line else limit, True
    return start, limit, True


def _segments(lines: list[str], first: int, is_ascii: bool, notices: Notices) -> list[Segment]:
    free_of_passwords, most = _FREE_OF_PASSWORDS, limits.MOST_ELEMENTS
    segments = []
    for number, line in enumerate(lines, start=first):
        if not line:
            continue
        # Only a line of more characters can have too many elements, or too long a one.
        text = line if len(line) <= most else _within_limits(line, number, notices)
        name, star, rest = text.partition("*")
        elements = rest.split("*") if star else []
        if not is_ascii or " " in text:
            name = name.strip()
            elements = [element.strip() for element in elements]
        if name not in free_of_passwords and holds_passwords(name):
            elements, hidden = redact_elements(elements)
            if hidden:
                notices.add("passwords_withheld", "SD1", number)
        segments.append(Segment(number, name, tuple(elements)))
    return segments


def _within_limits(text: str, number: int, notices: Notices) -> str:
    most, longest = limits.MOST_ELEMENTS, limits.MOST_CHARACTERS
    elements = text.split("*", most + 1)
    name = elements[0][:12].strip()
    if len(elements) > most + 1:
        notices.add("too_many_elements", name, number)
        del elements[most + 1 :]
    if len(text) > longest and max(map(len, elements)) > longest:
        notices.add("element_too_long", name, number)
        elements = [element[:longest] for element in elements]
    return "*".join(elements)
