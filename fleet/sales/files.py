"""Audit files where they lie: in files, folders and zip archives. No database here."""

import re
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from fleet.compute.audit.limits import MOST_BYTES

#: One byte more than is ever read shows that a file is too large, whatever its size.
ENOUGH: Final = MOST_BYTES + 1
_IDENTITY: Final = re.compile(rb"(?:\A|[\r\n])ID1\*([^\r\n]*)")


class NoSuchPath(Exception):
    """A path that was named is not there, or is no archive though it is called one."""


@dataclass(frozen=True, slots=True)
class FoundFile:
    """One file: its name, its bytes (no more than show that it is too large), when it arrived."""

    name: str
    data: bytes
    received_at: datetime


def find_files(paths: Iterable[Path]) -> Iterator[FoundFile]:
    """Every file of the paths: folders with all below them by name, archives unpacked.

    A file arrived when it was last written. Hidden files are passed over. Raises NoSuchPath.
    """
    for path in paths:
        if path.is_dir():
            for below in sorted(path.rglob("*")):
                hidden = any(part.startswith(".") for part in below.relative_to(path).parts)
                if below.is_file() and not hidden:
                    yield from _open(below)
        elif path.is_file():
            yield from _open(path)
        else:
            raise NoSuchPath(f"{path}: there is no such file or folder")


def read_one(path: Path) -> FoundFile:
    """One plain file."""
    with path.open("rb") as stream:
        data = stream.read(ENOUGH)
    return FoundFile(path.name, data, datetime.fromtimestamp(path.stat().st_mtime, UTC))


def machine_mark(data: bytes) -> bytes:
    """What a file says first of its machine: equal for all files of one, cheaply found.

    For dealing files out to processes, so that two seldom wait for each other's machine.
    """
    found = _IDENTITY.search(data)
    if found is None:
        return b""
    elements = found[1].split(b"*")
    return elements[5] if len(elements) > 5 and elements[5] else elements[0]


def _open(path: Path) -> Iterator[FoundFile]:
    if path.suffix.lower() != ".zip":
        yield read_one(path)
        return
    try:
        with zipfile.ZipFile(path) as archive:
            for member in sorted(archive.infolist(), key=lambda each: each.filename):
                if member.is_dir() or Path(member.filename).name.startswith("."):
                    continue
                with archive.open(member) as stream:
                    data = stream.read(ENOUGH)
                # An archive keeps no offset; the archive's own time is as near as can be told.
                arrived = datetime.fromtimestamp(path.stat().st_mtime, UTC)
                yield FoundFile(Path(member.filename).name, data, arrived)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError) as error:
        raise NoSuchPath(f"{path}: not a zip archive that can be read ({error})") from error
