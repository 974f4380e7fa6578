"""The watched folder, and archives and folders on the command line."""

import json
import os
import subprocess
import sys
import time
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection
from django.test import override_settings
from jsonschema import validate

from fleet.machines.models import Machine
from fleet.sales.actions import folder as door
from fleet.sales.actions.folder import read_folder
from fleet.sales.models import AuditRead
from fleet.sales.tasks import read_watch_folder
from people.errors import Unable
from tests.fleet.sales.helpers import day, sold, told
from tests.fleet.sales.meter import Meter

ROOT = Path(__file__).resolve().parents[3]
LATER = datetime(2026, 3, 2, 14, tzinfo=UTC)


def _put(folder: Path, name: str, data: bytes, at: datetime = LATER) -> Path:
    path = folder / name
    path.write_bytes(data)
    moment = at.timestamp() - 3600
    os.utime(path, (moment, moment))
    return path


def _names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_file())


@pytest.fixture
def two_reads() -> tuple[bytes, bytes]:
    meter = Meter.with_buttons("1", "2")
    return meter.read(day(0)), meter.sell("1", cash=3).read(day(1))


def test_files_are_read_and_moved_on(
    lobby: Machine, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    first, second = two_reads
    _put(tmp_path, "b.dts", first)
    _put(tmp_path, "c.dts", second)
    _put(tmp_path, "a photograph.jpg", b"\xff\xd8\xff")
    outcomes = read_folder(folder=tmp_path, actor=None, now=LATER)
    assert len(outcomes) == 3
    assert _names(tmp_path / "read") == ["b.dts", "c.dts"]
    assert _names(tmp_path / "set-aside") == ["a photograph.jpg"]
    assert _names(tmp_path) == _names(tmp_path / "taking") == []
    assert [sold(interval)["1"] for interval in told(lobby)] == [3]
    assert set(AuditRead.objects.values_list("source", flat=True)) == {"folder"}


def test_one_that_cannot_be_read_keeps_no_other_from_being_read(
    lobby: Machine, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    """A file that opens and then fails, for whatever user runs the tests: a process's memory."""
    (tmp_path / "a.dts").symlink_to("/proc/self/mem")
    _put(tmp_path, "b.dts", two_reads[0])
    read_folder(folder=tmp_path, actor=None, now=datetime.now(UTC) + timedelta(hours=1))
    assert _names(tmp_path / "read") == ["b.dts"]
    assert _names(tmp_path / "set-aside") == ["a.dts"]


def test_putting_back_writes_over_no_newer_file(tmp_path: Path) -> None:
    ours, newer = tmp_path / "ours.dts", tmp_path / "newer.dts"
    ours.write_bytes(b"ours")
    newer.write_bytes(b"newer")
    door._put_back(ours, newer)
    assert (ours.read_bytes(), newer.read_bytes()) == (b"ours", b"newer")


def test_running_again_and_the_same_file_again_change_nothing(
    lobby: Machine, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    _put(tmp_path, "a.dts", two_reads[0])
    read_folder(folder=tmp_path, actor=None, now=LATER)
    assert read_folder(folder=tmp_path, actor=None, now=LATER) == ()
    _put(tmp_path, "a.dts", two_reads[0])
    (outcome,) = read_folder(folder=tmp_path, actor=None, now=LATER)
    assert outcome.result == "duplicate"
    assert len(_names(tmp_path / "read")) == 2
    assert AuditRead.objects.count() == 1


def test_what_is_not_finished_is_left_alone(tmp_path: Path, two_reads: tuple[bytes, bytes]) -> None:
    for name in (".hidden.dts", "half.dts.part", "half.tmp"):
        _put(tmp_path, name, two_reads[0])
    growing = _put(tmp_path, "growing.dts", two_reads[0][:300])
    os.utime(growing, (LATER.timestamp(), LATER.timestamp()))
    assert read_folder(folder=tmp_path, actor=None, now=LATER) == ()
    assert len(_names(tmp_path)) == 4


def test_an_error_leaves_every_file_where_it_was(
    db: None, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    _put(tmp_path, "a.dts", two_reads[0])
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE sales_auditread ADD CONSTRAINT refused CHECK (false) NOT VALID")
    with pytest.raises(IntegrityError):
        read_folder(folder=tmp_path, actor=None, now=LATER)
    assert _names(tmp_path) == ["a.dts"]
    assert _names(tmp_path / "taking") == []


def test_a_claim_left_behind_is_taken_up_again(
    lobby: Machine, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    (tmp_path / "taking").mkdir()
    _put(tmp_path / "taking", "a.dts", two_reads[0])
    now = datetime.fromtimestamp(time.time(), UTC)
    assert read_folder(folder=tmp_path, actor=None, now=now) == ()
    later = now + door.CLAIM_LAPSES_AFTER * 2
    assert len(read_folder(folder=tmp_path, actor=None, now=later)) == 1
    assert _names(tmp_path / "read") == ["a.dts"]


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(Unable, match="not there"):
        read_folder(folder=tmp_path / "nowhere", actor=None, now=LATER)


def test_the_task_reads_the_folder_of_the_settings(
    lobby: Machine, tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    _put(tmp_path, "a.dts", two_reads[0], datetime.now(UTC))
    with override_settings(WATCH_FOLDER=str(tmp_path)):
        assert read_watch_folder() == 1
    with override_settings(WATCH_FOLDER=""):
        assert read_watch_folder() == 0


def test_the_command_takes_folders_and_archives(
    lobby: Machine,
    tmp_path: Path,
    two_reads: tuple[bytes, bytes],
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "night").mkdir()
    _put(tmp_path / "night", "a.dts", two_reads[0])
    with zipfile.ZipFile(tmp_path / "rest.zip", "w") as archive:
        archive.writestr("deep/b.dts", two_reads[1])
    call_command("read_audits", tmp_path, "--json")
    said = json.loads(capsys.readouterr().out)
    assert [(each["name"], each["result"]) for each in said] == [
        ("a.dts", "accepted"),
        ("b.dts", "accepted"),
    ]
    assert said[1]["interval_ids"] == [told(lobby)[0].pk]
    call_command("read_audits", tmp_path)
    assert "2 files: 2 duplicate" in capsys.readouterr().out


def test_the_command_names_a_path_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        call_command("read_audits", tmp_path / "nothing.dts")
    assert stopped.value.code == 2
    assert "nothing.dts" in capsys.readouterr().err


def _bare(*arguments: str) -> "subprocess.CompletedProcess[str]":
    """The command with no environment at all."""
    return subprocess.run(
        [sys.executable, "manage.py", "read_audits", *arguments],
        cwd=ROOT,
        env={},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_a_dry_run_needs_no_environment_and_keeps_its_schema(
    tmp_path: Path, two_reads: tuple[bytes, bytes]
) -> None:
    _put(tmp_path, "a.dts", two_reads[0])
    _put(tmp_path, "b.dts", two_reads[1].replace(b"PA2*3*", b"PA2*4*"))
    done = _bare("--dry-run", "--json", str(tmp_path))
    assert done.returncode == 0, done.stderr
    first, second = json.loads(done.stdout)
    assert first["report"]["identity"]["asset"] == "LOB-1"
    assert first["report"]["selections"][0]["price_minor"] == 175
    assert second["report"]["usable_as"] == "held"
    assert "check_value_wrong" in [each["code"] for each in second["report"]["warnings"]]
    schema = json.loads(_bare("--schema").stdout)
    whole = json.loads(_bare("--dry-run", "--json", "--segments", str(tmp_path)).stdout)
    validate(whole, schema)
    assert [each["id"] for each in whole[0]["report"]["segments"]][:2] == ["DXS", "ST"]
    plain = _bare("--dry-run", str(tmp_path)).stdout
    assert "a.dts: accepted" in plain
    assert "b.dts: held" in plain
