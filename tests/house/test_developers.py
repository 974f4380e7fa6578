"""The map in DEVELOPERS.md and the names it speaks of: all of them are there."""

import os
import re
from functools import cache
from pathlib import Path

import pytest
from django.urls import resolve

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "DEVELOPERS.md").read_text()
MAP, *_ = re.findall(r"^## The map\n\n```\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)
NAMED = sorted(
    set(re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```$", "", TEXT, flags=re.M | re.S)))
)
FILE = r"(?:[\w-]+/)*[\w-]+\.(?:py|js|toml|yml|yaml|md|txt)|(?:[\w-]+/)+"
"""A file by its ending, or a folder by the stroke after it."""


@cache
def files() -> tuple[str, ...]:
    """The files of the project, from its top, each after a stroke."""
    found = []
    for folder, below, names in os.walk(ROOT):
        below[:] = [one for one in below if not one.startswith(".") and one != "__pycache__"]
        found += [f"/{(Path(folder) / name).relative_to(ROOT)}" for name in names]
    return tuple(found)


@cache
def source() -> str:
    ends = (".py", ".js", ".toml", ".yml")
    mine = "/tests/house/test_developers.py"
    found = [one for one in files() if one.endswith(ends) and one != mine]
    return "\n".join((ROOT / one[1:]).read_text() for one in found if (ROOT / one[1:]).is_file())


def is_there(path: str, under: str = "/") -> bool:
    """Whether a file or folder lies below another, at whatever depth."""
    wanted = "/" + path
    within = [one for one in files() if one.startswith(under)]
    if path.endswith("/"):
        return any(wanted in one for one in within)
    return any(one.endswith(wanted) for one in within)


def rooms() -> list[tuple[str, str]]:
    """Each room of the map by its path, with what is said of it."""
    found: list[tuple[str, str]] = []
    above = ""
    for line in MAP.splitlines()[1:]:
        indent, name, said = re.fullmatch(r"( *)(\S+)\s*(.*)", line).groups()  # type: ignore[union-attr]
        if len(indent) > 4:
            path, before = found[-1]
            found[-1] = (path, f"{before} {line.strip()}")
        else:
            above = above if indent else name
            found.append((above + name if indent else name, said))
    return found


def test_the_map_names_what_lies_at_the_top() -> None:
    first = MAP.splitlines()[0]
    for name in re.findall(r"\S+\.\w+", re.sub(r"\(.*?\)", "", first)):
        assert (ROOT / name).is_file(), name
    tops = {one.split("/")[1] for one in files() if one.count("/") > 1}
    assert tops == {path.split("/")[0] for path, _ in rooms()}


@pytest.mark.parametrize(("path", "said"), rooms(), ids=[path for path, _ in rooms()])
def test_each_room_of_the_map_is_there_with_what_is_said_to_be_in_it(path: str, said: str) -> None:
    assert (ROOT / path).exists(), path
    for name in re.findall(rf"(?<![\w/])(?:{FILE})(?![\w/])", said):
        assert is_there(name, f"/{path}"), f"{path}: {name}"


def test_every_app_has_its_room_in_the_map() -> None:
    apps = {one[1:].rpartition("apps.py")[0] for one in files() if one.endswith("/apps.py")}
    assert apps - {"operator/config/"} <= {path for path, _ in rooms()}


@pytest.mark.parametrize("named", NAMED)
def test_what_is_named_is_there(named: str) -> None:
    """Files by their path, addresses by their view, names of the code by their place in it."""
    if re.fullmatch(FILE, named):
        assert is_there(named), f"no such file or folder: {named}"
    elif named.startswith("/"):
        resolve(named)
    elif re.fullmatch(r"[A-Za-z_]\w*(\.\w+)*", named):
        *_, holder, last = ["", *named.split(".")]
        assert re.search(rf"\b{last}\b", source()) or is_there(f"{last}.py"), named
        if holder:
            held = re.search(rf"\bclass {holder}\b", source()) or is_there(f"{holder}.py")
            assert held or is_there(f"{holder}/"), f"{named}: no {holder}"
    else:  # A command or a formula: each word that looks like a file is one.
        for word in re.findall(rf"(?<!\S)(?:{FILE})(?!\S)", named):
            assert is_there(word), f"{named}: {word}"
