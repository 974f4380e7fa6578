"""Packs of tax rules, one file a state, as the law and its rules were read.

Each row names its source and how far it was checked. A pack is a beginning: the business loads it,
edits it, and answers for what it files.
"""

import tomllib
from collections.abc import Iterator
from functools import cache
from importlib.resources import files

from service.compute.tax.rules import BadRule, Rule, rule_from


class BadPack(ValueError):
    """A file of rules that cannot be read: which, which row, what is wrong."""


@cache
def packs() -> tuple[Rule, ...]:
    """Every rule of every pack, by state and key. Raises BadPack."""
    rules = tuple(sorted(_read(), key=lambda rule: (rule.state, rule.key)))
    keys = [rule.key for rule in rules]
    if twice := sorted({key for key in keys if keys.count(key) > 1}):
        raise BadPack(f"the same key twice: {', '.join(twice)}")
    return rules


def rule_by_key(key: str) -> Rule | None:
    """A rule of a pack by its key."""
    return next((rule for rule in packs() if rule.key == key), None)


def _read() -> Iterator[Rule]:
    for file in sorted(files(__package__).iterdir(), key=lambda one: one.name):
        if not file.name.endswith(".toml"):
            continue
        data = tomllib.loads(file.read_text(encoding="utf-8"))
        state = data.get("state", "")
        for number, row in enumerate(data.get("rule", []), start=1):
            try:
                yield rule_from({"state": state, **row})
            except BadRule as error:
                raise BadPack(f"{file.name}, rule {number}: {error}") from error
