"""The duties that come with the service, by state: read from the files beside this one.

Plain reading, without settings or database. Each duty names its source and how far that was
checked before it was written down; whoever relies on one reads the rule itself first.
"""

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Any, Final

NEEDED: Final = ("key", "kind", "subject", "title", "said", "authority", "citation", "status")


class BadPack(ValueError):
    """A file of duties that cannot be read: which file and duty, what is wrong."""


@dataclass(frozen=True)
class PackDuty:
    """One duty of a pack, in the words of `models.DutyRule`.

    `active` is False for what is owed only by some: whoever it is for takes it in use.
    """

    key: str
    kind: str
    subject: str
    title: str
    said: str
    authority: str
    citation: str
    status: str
    state: str = ""
    applies_to: str = "every"
    every_months: int | None = None
    month_day: str = ""
    notice_days: int = 30
    active: bool = True


def packs() -> tuple[PackDuty, ...]:
    """Every duty of every pack, by key. Raises BadPack."""
    found: dict[str, PackDuty] = {}
    for file in sorted(files(__package__).iterdir(), key=lambda one: one.name):
        if not file.name.endswith(".toml"):
            continue
        read = tomllib.loads(file.read_text(encoding="utf-8"))
        for number, given in enumerate(read.get("duty", ()), start=1):
            one = _duty(f"{file.name}, duty {number}", given, str(read.get("state", "")))
            if one.key in found:
                raise BadPack(f"{file.name}, duty {number}: {one.key} stands twice")
            found[one.key] = one
    return tuple(found[key] for key in sorted(found))


def _duty(where: str, given: dict[str, Any], state: str) -> PackDuty:
    missing = [name for name in NEEDED if not str(given.get(name, "")).strip()]
    if missing:
        raise BadPack(f"{where}: {', '.join(missing)} is missing")
    unknown = sorted(set(given) - set(PackDuty.__dataclass_fields__))
    if unknown:
        raise BadPack(f"{where}: {', '.join(unknown)} is not known")
    return PackDuty(**{"state": state, **given})
