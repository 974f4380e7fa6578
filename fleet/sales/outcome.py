"""What became of a file that was handed in."""

from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any


class Result(StrEnum):
    """What became of one file."""

    ACCEPTED = "accepted"
    WAITING = "waiting"
    DUPLICATE = "duplicate"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one file, and what it said.

    `read_id` is the read's key; of a duplicate that of the read it repeats, and None of what is no
    audit file. `interval_ids` are the machine intervals that were cut at this read. `warnings` have
    code, text, where, line and effect; `waiting` the code and text of each reason to wait.
    """

    name: str
    sha256: str
    result: Result
    said: str
    read_id: int | None = None
    machine_id: int | None = None
    machine: str | None = None
    matched_by: str = ""
    warnings: tuple[dict[str, Any], ...] = ()
    waiting: tuple[dict[str, str], ...] = ()
    interval_ids: tuple[int, ...] = field(default=())

    def plain(self) -> dict[str, Any]:
        """As JSON values."""
        return asdict(self)
