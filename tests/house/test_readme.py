"""What the README tells people to type is there, and so are the pictures it shows."""

import re
import stat
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text()
LARGEST_PICTURE = 300_000


def test_it_names_the_two_commands_and_both_are_there() -> None:
    """What they do is driven elsewhere: the first by tests/demo/test_run.py, the second by you."""
    commands = re.findall(r"^    sh (\S+)$", README, flags=re.MULTILINE)
    assert commands == ["demo/run", "tests/run"]
    for command in commands:
        path = ROOT / command
        assert path.read_text().startswith("#!/bin/sh\n")
        assert stat.S_ISREG(path.stat().st_mode)


def test_every_picture_and_page_it_points_to_is_there() -> None:
    targets = re.findall(r"\]\((?!https?:)([^)#]+)", README)
    assert targets
    for target in targets:
        path = ROOT / target
        assert path.is_file(), target
        if path.suffix == ".png":
            assert path.stat().st_size < LARGEST_PICTURE, target
