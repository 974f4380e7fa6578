"""An audit file taken apart with nothing but split, so that no reader of ours checks itself."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TypeAlias

Elements: TypeAlias = list[str]


@dataclass(frozen=True)
class RawFile:
    """Segments by id, and each selection's own segments by its id."""

    segments: dict[str, list[Elements]]
    selections: dict[str, dict[str, list[Elements]]]

    def number(self, segment: str, position: int) -> int:
        """Element `position` (from 01) of the first such segment; blank or absent counts as 0."""
        found = self.segments.get(segment)
        return number(found[0], position) if found else 0

    def has(self, segment: str) -> bool:
        return segment in self.segments


def number(elements: Elements, position: int) -> int:
    text = elements[position] if position < len(elements) else ""
    return int(text) if text else 0


def taken_apart(data: bytes) -> RawFile:
    segments: dict[str, list[Elements]] = {}
    selections: dict[str, dict[str, list[Elements]]] = {}
    own: dict[str, list[Elements]] = {}
    for text in re.split(r"\r?\n", data.decode("ascii")):
        if not text:
            continue
        elements = text.split("*")
        segments.setdefault(elements[0], []).append(elements)
        if elements[0] == "PA1":
            own = selections[elements[1]] = {}
        if elements[0].startswith("PA"):
            own.setdefault(elements[0], []).append(elements)
    return RawFile(segments, selections)
