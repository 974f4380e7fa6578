"""The check value of an audit block: CRC-16/ARC, and the verdict on it.

Parameters: width 16, polynomial 0x8005 (reflected 0xA001), initial value 0, input and output
reflected, no final exclusive-or; the check over "123456789" is 0xBB3D (catalogue of parametrised
CRC algorithms, CRC-16/ARC). It covers the bytes from the S of ST through the CR LF before G85.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

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
_Words = npt.NDArray[np.uint16]


def _one_pair() -> _Words:
    """What each register becomes over two bytes of 0; two bytes of data are folded in before."""
    table = np.array(_TABLE, dtype=np.uint16)
    registers = np.arange(0x10000, dtype=np.uint16)
    for _ in range(2):
        registers = (registers >> 8) ^ table[registers & 0xFF]
    return registers


def _doubled(steps: _Words, times: int) -> tuple[_Words, ...]:
    """The table over 1, 2, 4, 8 ... pairs of bytes."""
    tables = [steps]
    for _ in range(times - 1):
        tables.append(tables[-1][tables[-1]])
    return tuple(tables)


# Over 2**k pairs of bytes, enough for twice the largest file that is read (1 MiB).
_OVER_PAIRS = _doubled(_one_pair(), 20)
_LONGEST = 2 << len(_OVER_PAIRS)


def crc16_arc(data: bytes, crc: int = 0) -> int:
    """CRC-16/ARC of the bytes, continuing from `crc`.

    The check is linear: that of two halves is the first's, carried over as many bytes of 0 as the
    second has, exclusive-or the second's. So neighbours are joined, then their neighbours, each
    time over the whole array, which takes a quarter of the time that steps by two bytes take.
    """
    for start in range(0, len(data), _LONGEST):
        crc = _crc_of_part(data[start : start + _LONGEST], crc)
    return crc


def _crc_of_part(data: bytes, crc: int) -> int:
    if len(data) % 2:
        crc = (crc >> 8) ^ _TABLE[(crc ^ data[0]) & 0xFF]
    pairs = len(data) // 2
    if not pairs:
        return crc
    levels = (pairs - 1).bit_length()
    # Zeros before the data leave a register of 0 as it is, so they may fill up to a power of two.
    words = np.zeros(1 << levels, dtype=np.uint16)
    words[-pairs:] = np.frombuffer(data, dtype="<u2", count=pairs, offset=len(data) % 2)
    words[-pairs] ^= crc
    for over in _OVER_PAIRS[:levels]:
        words = over[words[0::2]] ^ words[1::2]
    return int(_OVER_PAIRS[0][words[0]])


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
