"""Who may import whom: the contracts hold, and each of them bites when it is broken."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = ("operator", "fleet", "service", "api")


def lint(root: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [Path(sys.executable).parent / "lint-imports", "--no-cache"],
        cwd=root,
        env={**os.environ, "PYTHONPATH": f"{root}:{root / 'operator'}"},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("copied")
    shutil.copy(ROOT / "pyproject.toml", root)
    for name in PACKAGES:
        ignored = shutil.ignore_patterns("__pycache__", "static", "templates")
        shutil.copytree(ROOT / name, root / name, ignore=ignored)
    return root


def test_all_contracts_hold() -> None:
    kept = lint(ROOT)
    assert kept.returncode == 0, kept.stdout
    assert " 0 broken." in kept.stdout


@pytest.mark.parametrize(
    ("module", "forbidden", "contract"),
    [
        ("api/v1/breach.py", "import office.apps", "Doors above service above fleet above people"),
        ("operator/office/breach.py", "import api.apps", "Doors above service"),
        ("fleet/machines/breach.py", "import service.compute", "Doors above service"),
        ("operator/people/breach.py", "import fleet.machines.apps", "Doors above service"),
        ("fleet/machines/breach.py", "import fleet.sales.apps", "Inside the fleet"),
        ("fleet/compute/breach.py", "import fleet.machines.apps", "Inside the fleet"),
        ("fleet/compute/breach.py", "from django.db import models", "The pure packages"),
        ("service/compute/breach.py", "import time", "The pure packages"),
        ("fleet/sales/breach.py", "import config.logs", "Apps do not know how they are configured"),
    ],
)
def test_a_breach_is_caught(copied: Path, module: str, forbidden: str, contract: str) -> None:
    breach = copied / module
    breach.write_text(f"def hidden():\n    {forbidden}\n")
    try:
        caught = lint(copied)
    finally:
        breach.unlink()
    assert caught.returncode != 0
    broken = [line for line in caught.stdout.splitlines() if line.endswith("BROKEN")]
    assert any(line.startswith(contract) for line in broken), caught.stdout
