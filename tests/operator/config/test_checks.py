"""Settings that only the machine can judge stop the start, with an id and a hint."""

from pathlib import Path

from django.core.checks import run_checks
from django.test import override_settings


def ids(folder: str) -> list[str]:
    with override_settings(WATCH_FOLDER=folder):
        return [found.id for found in run_checks() if found.id and found.id.startswith("config.")]


def test_a_watched_folder_must_be_there(tmp_path: Path) -> None:
    assert ids(str(tmp_path)) == []
    assert ids("") == []
    assert ids(str(tmp_path / "elsewhere")) == ["config.E001"]
    (tmp_path / "file").touch()
    assert ids(str(tmp_path / "file")) == ["config.E001"]
