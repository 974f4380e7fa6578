"""The invented sample read and its damaged variants, and a writer of small files for tests."""

from pathlib import Path

from fleet.compute.audit.integrity import crc16_arc

FOLDER = Path(__file__).parents[3] / "checks" / "audit_reads"
READ_A = (FOLDER / "read_a.dts").read_bytes()
LF_ONLY = (FOLDER / "read_a_lf_only.dts").read_bytes()
CRC_SWAPPED = (FOLDER / "read_a_crc_swapped.dts").read_bytes()
BAD_SE = (FOLDER / "read_a_bad_se.dts").read_bytes()
CORRUPT = READ_A.replace(b"PA2*1156*", b"PA2*1157*")
TRUNCATED = READ_A[: READ_A.index(b"EA3*")]
TRAILING_JUNK = READ_A + b"\x1a" + b"\x00" * 97


def sealed(*lines: str, encoding: str = "ascii") -> bytes:
    """A whole file around the given lines, with the right check value and segment count."""
    body = "".join(f"{line}\r\n" for line in ("ST*001*0001", *lines)).encode(encoding)
    end = f"G85*{crc16_arc(body):04X}\r\nSE*{len(lines) + 3}*0001\r\nDXE*1*1\r\n"
    return b"DXS*ZZZ0000042*VA*V1/1*1\r\n" + body + end.encode()


def resealed(data: bytes) -> bytes:
    """The same file with its check value made right again after an edit."""
    start, end = data.index(b"ST*"), data.index(b"G85*")
    return data[: end + 4] + b"%04X" % crc16_arc(data[start:end]) + data[end + 8 :]


def many_selections(times: int) -> bytes:
    """The sample with its seven selections repeated under new ids; totals no longer add up."""
    head, rest = READ_A.split(b"PA1*11*", 1)
    products, tail = (b"PA1*11*" + rest).split(b"EA1*", 1)
    body = b""
    for index in range(times):
        copy = products
        for number, old in enumerate((b"11", b"12", b"13", b"14", b"A1", b"A2", b"A3")):
            new = b"%c%d" % (ord("B") + index, number)
            for segment in (b"PA1", b"PA7"):
                copy = copy.replace(segment + b"*" + old + b"*", segment + b"*" + new + b"*")
        body += copy
    return resealed(head + body + b"EA1*" + tail)
