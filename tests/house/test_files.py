"""The shape of the repository itself."""

import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = {
    *("README.md", "DEVELOPERS.md", "manage.py", "requirements.txt", "pyproject.toml"),
    *("docker-compose.yml", "operator", "api", "fleet", "service", "tests", "demo"),
}
MOST_LINES = 500


def ours() -> list[Path]:
    """The files that git keeps or would keep."""
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode:
        pytest.skip("this is no git checkout")
    return [Path(line) for line in listed.stdout.splitlines() if (ROOT / line).exists()]


def test_the_top_level_holds_what_it_should() -> None:
    found = {path.parts[0] for path in ours() if not path.parts[0].startswith(".")}
    assert found <= TOP


def test_no_module_is_longer_than_can_be_read() -> None:
    long = {
        str(path): lines
        for path in ours()
        if path.suffix == ".py"
        and "migrations" not in path.parts
        and (lines := len((ROOT / path).read_text().splitlines())) > MOST_LINES
    }
    assert not long


def test_every_requirement_is_pinned_and_says_why() -> None:
    for name in ("requirements.txt", "demo/requirements.txt", "tests/requirements.txt"):
        for line in (ROOT / name).read_text().splitlines():
            if line and not line.startswith(("#", "-r")):
                requirement, _, reason = line.partition("#")
                assert "==" in requirement, f"{name}: {line}"
                assert reason.strip(), f"{name}: {line}"
