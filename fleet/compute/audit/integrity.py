"""The check value of an audit block: CRC-16/ARC, and the verdict on it.

Parameters: width 16, polynomial 0x8005 (reflected 0xA001), initial value 0, input and output
reflected, no final exclusive-or; the check over "123456789" is 0xBB3D (catalogue of parametrised
CRC algorithms, CRC-16/ARC). It covers the bytes from the S of ST through the CR LF before G85.
"""

from dataclasses import dataclass
from struct import unpack_from

from fleet.compute.audit.report import Verdict

_REFLECTED_POLYNOMIAL = 0xA001


def _table() -> tuple[int, ...]:
    entries = []
    for byte in range(256):
        entry = byte
        for _ in range(8):
            entry = (entry >> 1) ^ _REFLECTED_POLYNOMIAL if entry & 1 else entry >> 1
        entries.append(entry)
    return tuple(entries)


_TABLE = _table()


def _step(crc: int, byte: int) -> int:
    return (crc >> 8) ^ _TABLE[(crc ^ byte) & 0xFF]


# The register is as wide as two bytes, so two steps of the table depend on nothing but the register
# with both bytes folded in. Worth 65,536 entries: the check is the largest part of reading a file.
_TWO_STEPS = tuple(_step(_step(pair, 0), 0) for pair in range(0x10000))


def crc16_arc(data: bytes, crc: int = 0) -> int:
    """CRC-16/ARC of the bytes, continuing from `crc`."""
    two_steps = _TWO_STEPS
    pairs = len(data) // 2
    for pair in unpack_from(f"<{pairs}H", data):
        crc = two_steps[crc ^ pair]
    return _step(crc, data[-1]) if len(data) % 2 else crc


@dataclass(frozen=True, slots=True)
class Check:
    """What came of comparing the stated check value with the bytes."""

    verdict: Verdict
    computed: str | None = None
    byte_swapped: bool = False
    line_ends_restored: bool = False


def check(stated: str | None, as_received: bytes, restored: bytes) -> Check:
    """The verdict on a block whose G85 says `stated` (up to four hexadecimal digits).

    `restored` is the same bytes with every line end as CR LF. Older equipment sends the two bytes
    of the value swapped. Bytes as received are tried first, so nothing is restored needlessly.
    """
    if not stated:
        return Check("missing")
    same = as_received == restored
    first = crc16_arc(as_received)
    value = _value(stated)
    tries = [(first, False)] if same else [(first, False), (crc16_arc(restored), True)]
    for swapped in (False, True):
        for computed, was_restored in tries:
            if value == (_swap(computed) if swapped else computed):
                verdict: Verdict = "ok_after_crlf_restore" if was_restored else "ok"
                if swapped:
                    verdict = "ok_byte_swapped"
                return Check(verdict, f"{computed:04X}", swapped, was_restored)
    return Check("mismatch", f"{tries[-1][0]:04X}")


def _value(stated: str) -> int | None:
    if len(stated) > 4 or not all(digit in "0123456789abcdefABCDEF" for digit in stated):
        return None
    return int(stated, 16)


def _swap(value: int) -> int:
    return (value & 0xFF) << 8 | value >> 8
