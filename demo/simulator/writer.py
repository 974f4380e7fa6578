"""Audit files byte for byte: segments, envelope and integrity check.

Written to the open vending audit data standard as described by its public transcriptions: one
segment a line, elements parted by asterisks, lines ended CR LF; the check in G85 is CRC-16/ARC
over everything from ST through the line end before G85; SE counts the segments from ST through
SE. The check is computed here with a table of our own, apart from the reader's.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence

Element = str | int | None
Segment = tuple[Element, ...]

TRANSACTION_SET = "001"
CONTROL_NUMBER = "0001"


def _reflected_table() -> tuple[int, ...]:
    table = []
    for value in range(256):
        remainder = value
        for _ in range(8):
            carry = remainder & 1
            remainder >>= 1
            if carry:
                remainder ^= 0xA001
        table.append(remainder)
    return tuple(table)


_TABLE = _reflected_table()
# Two bytes in one step, the first of them in the lower half.
_TABLE_OF_PAIRS = tuple(
    (_TABLE[pair & 0xFF] >> 8) ^ _TABLE[(_TABLE[pair & 0xFF] ^ (pair >> 8)) & 0xFF]
    for pair in range(0x10000)
)


def check_value(block: bytes) -> int:
    """CRC-16/ARC: polynomial 0x8005 reflected, nothing preset, nothing inverted at the end."""
    remainder, pairs = 0, _TABLE_OF_PAIRS
    even = len(block) & ~1
    for pair in struct.unpack(f"<{even // 2}H", block[:even]):
        remainder = pairs[remainder ^ pair]
    for byte in block[even:]:
        remainder = _TABLE[(remainder ^ byte) & 0xFF] ^ (remainder >> 8)
    return remainder


def line(segment: Sequence[Element], *, drop_trailing_blanks: bool = True) -> str:
    """One segment as text; a blank element is one the machine does not know, and is not 0."""
    elements = ["" if element is None else str(element) for element in segment]
    for element in elements:
        if "*" in element or "\r" in element or "\n" in element:
            raise ValueError(f"{elements[0]}: {element!r} would break the segment apart")
    if drop_trailing_blanks:
        while len(elements) > 1 and not elements[-1]:
            elements.pop()
    return "*".join(elements)


def audit_file(
    segments: Iterable[Segment],
    *,
    sender: str,
    version: str,
    transmission: int,
    drop_trailing_blanks: bool = True,
    swap_check: bool = False,
) -> bytes:
    """The whole file of one read. `swap_check`: low byte of the check first, as old boards do."""
    opening = line(("ST", TRANSACTION_SET, CONTROL_NUMBER))
    lines = [opening]
    lines += [line(segment, drop_trailing_blanks=drop_trailing_blanks) for segment in segments]
    block = "".join(text + "\r\n" for text in lines).encode("ascii")
    value = check_value(block)
    if swap_check:
        value = (value & 0xFF) << 8 | value >> 8
    head = f"DXS*{sender}*VA*{version}*{transmission}\r\n"
    tail = f"G85*{value:04X}\r\nSE*{len(lines) + 2}*{CONTROL_NUMBER}\r\nDXE*1*1\r\n"
    return head.encode("ascii") + block + tail.encode("ascii")
