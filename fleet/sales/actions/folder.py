"""The watched folder: files that arrive there are taken in and moved on."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Final

import structlog

from people.errors import Unable
from people.models import Person

from ..files import FoundFile, read_one
from ..models import AuditRead
from ..outcome import Outcome, Result
from .receive import ReceivedFile, receive

log = structlog.get_logger(__name__)

TAKING: Final = "taking"
READ: Final = "read"
SET_ASIDE: Final = "set-aside"
BATCH: Final = 250
#: A file written to a moment ago may still be growing.
SETTLED_AFTER: Final = timedelta(seconds=5)
#: A claim this old was left by somebody who did not come to the end.
CLAIM_LAPSES_AFTER: Final = timedelta(minutes=15)
_UNFINISHED: Final = (".part", ".tmp", ".filepart", ".crdownload")


@dataclass(frozen=True, slots=True)
class _Claim:
    """A file that is ours: where it came from, where it lies now, and what is in it."""

    came_from: Path
    lies_at: Path
    file: FoundFile


def read_folder(*, folder: Path, actor: Person | None, now: datetime) -> tuple[Outcome, ...]:
    """Take in the files of a folder: read ones go to `read`, what is no audit file to `set-aside`.

    Safe to run twice, also at once: a file is claimed by moving it to `taking`, which only one
    succeeds in, and what is taken in twice changes nothing. Files whose names begin with a dot or
    end as unfinished ones do are left alone. Raises Unable if the folder is not there.
    """
    if not folder.is_dir():
        raise Unable(f"the watched folder {folder} is not there", code="no_watched_folder")
    for name in (TAKING, READ, SET_ASIDE):
        (folder / name).mkdir(exist_ok=True)
    _take_up_lapsed(folder, now)
    outcomes: list[Outcome] = []
    while True:
        claims = list(_claim(folder, now))
        if not claims:
            return tuple(outcomes)
        outcomes += _take_in(folder, claims, actor, now)


def _claim(folder: Path, now: datetime) -> Iterator[_Claim]:
    claimed = 0
    for path in sorted(folder.iterdir()):
        unfinished = path.name.startswith(".") or path.name.lower().endswith(_UNFINISHED)
        try:
            if unfinished or not path.is_file():
                continue
            if path.stat().st_mtime > (now - SETTLED_AFTER).timestamp():
                continue
            mine = folder / TAKING / path.name
            if mine.exists():
                continue
            path.rename(mine)
        except FileNotFoundError:
            continue  # another worker was quicker
        try:
            yield _Claim(path, mine, read_one(mine))
        except OSError as error:
            # One that cannot be read must not keep the rest from being read, now or ever.
            log.error("audit_file", name=path.name, result="cannot be read", said=str(error))
            mine.rename(_free_name(folder / SET_ASIDE, mine.name, str(mine.lstat().st_ino)))
            continue
        claimed += 1
        if claimed == BATCH:
            return


def _take_in(
    folder: Path, claims: list[_Claim], actor: Person | None, now: datetime
) -> tuple[Outcome, ...]:
    try:
        outcomes = receive(
            files=[
                ReceivedFile(claim.file.name, claim.file.data, claim.file.received_at)
                for claim in claims
            ],
            source=AuditRead.Source.FOLDER,
            actor=actor,
            now=now,
        )
    except Exception:
        # Nothing of the batch is kept, so nothing of it may look taken in.
        for claim in claims:
            _put_back(claim.lies_at, claim.came_from)
        raise
    for claim, outcome in zip(claims, outcomes, strict=True):
        goes_to = SET_ASIDE if outcome.result is Result.UNREADABLE else READ
        mark = sha256(claim.file.data).hexdigest()[:12]
        claim.lies_at.rename(_free_name(folder / goes_to, claim.lies_at.name, mark))
        log.info("audit_file", name=outcome.name, result=str(outcome.result), said=outcome.said)
    return outcomes


def _free_name(folder: Path, name: str, mark: str) -> Path:
    """The file's own name, with its mark where another file of that name lies already."""
    path = folder / name
    return folder / f"{path.stem}-{mark}{path.suffix}" if path.exists() else path


def _put_back(lies_at: Path, came_from: Path) -> None:
    """A new file that has its name by now is not written over; the claim lapses in its turn."""
    if not came_from.exists():
        lies_at.rename(came_from)


def _take_up_lapsed(folder: Path, now: datetime) -> None:
    """Put back what somebody claimed and never finished, unless a new file has its name."""
    lapsed = (now - CLAIM_LAPSES_AFTER).timestamp()
    for path in sorted((folder / TAKING).iterdir()):
        back = folder / path.name
        try:
            # Moving a file changes its status time and not its modification time.
            if path.stat().st_ctime < lapsed:
                _put_back(path, back)
        except FileNotFoundError:
            continue
