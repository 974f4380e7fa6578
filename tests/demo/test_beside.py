"""Work in a process of its own."""

import sys
from pathlib import Path

import pytest

from demo.beside import WorkFailed, beside


def test_both_are_done_when_the_block_ends(tmp_path: Path) -> None:
    with beside((tmp_path / "there").touch):
        (tmp_path / "here").touch()
    assert {one.name for one in tmp_path.iterdir()} == {"here", "there"}


def test_work_that_fails_is_not_taken_for_done() -> None:
    with pytest.raises(WorkFailed, match="exit code 3"), beside(lambda: sys.exit(3)):
        pass
