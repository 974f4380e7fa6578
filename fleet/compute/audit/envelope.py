"""What the envelope of a block proves: check value, closing segments, counts, and truncation."""

from dataclasses import dataclass
from hashlib import sha256
from typing import Literal

from fleet.compute.audit.integrity import Check, check
from fleet.compute.audit.lines import Block, find_segment
from fleet.compute.audit.notices import Notices
from fleet.compute.audit.report import Integrity, Segment

_SELECTION = frozenset(("PA1", "PA2", "PA3", "PA4", "PA5", "PA6", "PA7", "PA8"))
_CLOSING = frozenset(("G85", "SE", "DXE"))
_LineEnds = Literal["crlf", "lf", "cr", "mixed", "none"]


@dataclass(frozen=True, slots=True)
class Sealed:
    """The segments to interpret, the block's verdict, and its fingerprint."""

    data: tuple[Segment, ...]
    integrity: Integrity
    sha256: str


def examine(block: Block, notices: Notices) -> Sealed:
    """Holds a block against its envelope; every failing is a named warning, none an error."""
    segments = block.segments
    first: dict[str, int] = {}
    for index, segment in enumerate(segments):
        first.setdefault(segment.id, index)
    start, seal = first.get("ST"), first.get("G85")
    closed = "SE" in first or "DXE" in first
    proof = _check(block, segments, start, seal, notices)
    end = min((first[name] for name in _CLOSING if name in first), default=len(segments))
    data = segments[:end]
    if seal is not None:
        following = next(iter(segments[seal + 1 :]), None)
        if following is not None and following.id not in _CLOSING:
            notices.add("segments_after_check", following.id, following.line)
    _envelope_notices(block, first, proof, notices)
    stated, counted = _count(segments, first, notices)
    truncated = not closed and seal is None and _stops_mid_product(block, data)
    if truncated:
        notices.add("truncated", data[-1].id, data[-1].line)
        if not block.content.endswith((b"\n", b"\r")):
            # Cut inside a line: its last number may have lost digits and read as a smaller one.
            data = data[:-1]
    integrity = Integrity(
        verdict=proof.verdict,
        stated=segments[seal].elements[0] if seal is not None and segments[seal].elements else None,
        computed=proof.computed,
        byte_swapped=proof.byte_swapped,
        line_ends_restored=proof.line_ends_restored,
        line_ends=_line_ends(block.content),
        segments_stated=stated,
        segments_counted=counted,
        truncated=truncated,
        bytes_before=block.bytes_before,
        bytes_after=block.bytes_after,
        encoding=block.encoding,
    )
    return Sealed(data, integrity, _fingerprint(block.content))


def _check(
    block: Block,
    segments: tuple[Segment, ...],
    start: int | None,
    seal: int | None,
    notices: Notices,
) -> Check:
    if seal is None or start is None or start > seal:
        return Check("missing")
    begin = find_segment(block.content, b"ST", first=True)
    end = find_segment(block.content, b"G85", max(begin, 0))
    if begin < 0 or end < 0:
        return Check("missing")
    covered = block.content[begin:end]
    stated = segments[seal].elements[0] if segments[seal].elements else ""
    proof = check(stated, covered, _with_crlf(covered))
    if proof.verdict == "mismatch":
        notices.add(
            "check_value_wrong", "G85", segments[seal].line, f"{stated} for {proof.computed}"
        )
    if proof.byte_swapped:
        notices.add("check_value_byte_swapped", "G85", segments[seal].line)
    if proof.line_ends_restored:
        notices.add("line_ends_restored", "file")
    return proof


def _envelope_notices(block: Block, first: dict[str, int], proof: Check, notices: Notices) -> None:
    if not block.has_envelope:
        notices.add("no_envelope", "file")
        return
    if "ST" not in first:
        notices.add("no_start_segment", "ST")
    elif proof.verdict == "missing":
        notices.add("check_value_missing", "G85")
    missing = [name for name in ("SE", "DXE") if name not in first]
    if "SE" in missing or ("DXE" in missing and "DXS" in first):
        notices.add("end_missing", missing[0], None, " and ".join(missing))


def _count(
    segments: tuple[Segment, ...], first: dict[str, int], notices: Notices
) -> tuple[int | None, int | None]:
    """SE01 and the segments from ST to SE inclusive, as X12 counts them."""
    start, end = first.get("ST"), first.get("SE")
    if start is None or end is None or end < start:
        return None, None
    counted = end - start + 1
    closing = segments[end].elements
    stated = None
    if closing and closing[0].isascii() and closing[0].isdigit():
        stated = int(closing[0][:9])
        if stated != counted:
            detail = f"stated {stated}, found {counted}"
            notices.add("segment_count_wrong", "SE01", segments[end].line, detail)
    opening = segments[start].elements
    if len(opening) > 1 and len(closing) > 1 and opening[1] != closing[1]:
        notices.add("control_number_wrong", "SE02", segments[end].line)
    return stated, counted


def _stops_mid_product(block: Block, data: tuple[Segment, ...]) -> bool:
    """Whether a block without an end also stops among its products, or inside a line.

    Where an envelope was begun, a product line at the very end is enough: further products may be
    missing. Lists that never have an envelope end with a product by right, so there the last
    selection must lack a segment that every other one has.
    """
    if not data:
        return False
    cut_inside_line = not block.content.endswith((b"\n", b"\r"))
    if block.has_envelope:
        return data[-1].id in _SELECTION or cut_inside_line
    groups: list[set[str]] = []
    for segment in data:
        if segment.id == "PA1":
            groups.append(set())
        if groups and segment.id in _SELECTION:
            groups[-1].add(segment.id)
    if len(groups) < 2 or data[-1].id not in _SELECTION:
        return False
    return bool(set.intersection(*groups[:-1]) - groups[-1])


def _line_ends(content: bytes) -> _LineEnds:
    pairs = content.count(b"\r\n")
    feeds = content.count(b"\n") - pairs
    returns = content.count(b"\r") - pairs
    kinds: list[_LineEnds] = []
    if pairs:
        kinds.append("crlf")
    if feeds:
        kinds.append("lf")
    if returns:
        kinds.append("cr")
    if len(kinds) > 1:
        return "mixed"
    return kinds[0] if kinds else "none"


def _with_crlf(content: bytes) -> bytes:
    """The same lines, empty ones left out, each ended by CR LF."""
    pairs = content.count(b"\r\n")
    if (
        content.endswith(b"\r\n")
        and content.count(b"\n") == content.count(b"\r") == pairs
        and b"\r\n\r\n" not in content
        and not content.startswith(b"\r\n")
    ):
        return content
    lines = [line for line in content.splitlines() if line]
    return b"\r\n".join(lines) + b"\r\n" if lines else b""


def _fingerprint(content: bytes) -> str:
    """SHA-256 of ST to the G85 line inclusive, line ends as CR LF; of all where there is no ST.

    The check value's own line is part of it: a read whose check line was damaged and the same read
    sent again whole are two, or the good one would be set aside as a repeat of the damaged one.
    """
    begin = max(find_segment(content, b"ST", first=True), 0)
    end = find_segment(content, b"G85", begin)
    if end < 0:
        return sha256(_with_crlf(content[begin:])).hexdigest()
    lines = _with_crlf(content[begin:end])
    check_line = content[end:].splitlines()[0]
    return sha256(lines + check_line + b"\r\n").hexdigest()
