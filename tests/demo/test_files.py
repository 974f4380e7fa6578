"""The files as they arrive: how many, the same for the same seed, sound but where meant."""

import hashlib
import os
import re
import subprocess
import sys
from collections import Counter
from datetime import timedelta
from pathlib import Path

import crcmod.predefined
import pytest

from demo.business.machines import asset_tag
from demo.simulator import simulate, simulate_with_truth
from demo.simulator.__main__ import main
from demo.simulator.cases import CASES, LATE_BY
from tests.demo.conftest import UNTIL

ROOT = Path(__file__).resolve().parents[2]
crc16 = crcmod.predefined.mkPredefinedCrcFun("crc-16")


def case_tag(name: str) -> str:
    return next(tag for tag, case in CASES.items() if getattr(case, name))


def verdict(data: bytes) -> str:
    restored = data.replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")
    found = re.search(rb"(ST\*.*?)G85\*([0-9A-F]{4})\r\n", restored, re.DOTALL)
    if found is None:
        return "missing"
    computed, stated = crc16(found[1]), int(found[2], 16)
    swapped = (computed & 0xFF) << 8 | computed >> 8
    # A check whose two bytes are alike reads the same either way.
    plain = {swapped: "swapped", computed: "ok"}.get(stated, "wrong")
    return plain if restored == data else f"{plain}, line feeds only"


def test_there_are_some_thousands_of_small_files(weeks):
    files = weeks.simulated.files
    assert 3000 <= len(files) <= 5000
    assert all(1_000 < len(file.data) < 10_000 for file in files)
    assert len({file.name for file in files}) == len(files)


def test_they_come_in_the_order_of_their_delivery(weeks):
    moments = [file.delivered_at for file in weeks.simulated.files]
    assert moments == sorted(moments)
    assert all(file.delivered_at > file.written_at for file in weeks.simulated.files)
    assert all(file.written_at.utcoffset() is not None for file in weeks.simulated.files)


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others(business):
    first = list(simulate(business, UNTIL, weeks=1, seed=3))
    assert first == list(simulate(business, UNTIL, weeks=1, seed=3))
    other = list(simulate(business, UNTIL, weeks=1, seed=4))
    assert [file.data for file in other] != [file.data for file in first]


def test_the_bytes_do_not_hang_on_the_process(tmp_path):
    """Another process, with other hashes of text, writes the same."""
    sums = set()
    for hashes in ("1", "2"):
        folder = tmp_path / hashes
        subprocess.run(
            [sys.executable, "-m", "demo.simulator", folder, "--until", str(UNTIL), "--weeks=1"],
            check=True,
            capture_output=True,
            cwd=ROOT,
            env={**os.environ, "PYTHONHASHSEED": hashes},
        )
        together = hashlib.sha256()
        for path in sorted(folder.iterdir()):
            together.update(path.name.encode() + path.read_bytes())
        sums.add(together.hexdigest())
    assert len(sums) == 1


def test_files_are_written_by_the_sites_own_time_and_summer_time(weeks):
    offsets = {(file.machine_tag, file.written_at.utcoffset()) for file in weeks.simulated.files}
    east, west = asset_tag("S01", "A"), asset_tag("S34", "C")
    hours = {tag: {offset for who, offset in offsets if who == tag} for tag in (east, west)}
    assert hours == {
        east: {timedelta(hours=-4), timedelta(hours=-5)},
        west: {timedelta(hours=-5), timedelta(hours=-6)},
    }


def test_less_than_a_week_is_refused(business):
    with pytest.raises(ValueError, match="one or more"):
        simulate_with_truth(business, UNTIL, weeks=0)


def test_every_machine_reports_and_one_is_in_no_book(weeks):
    known = {machine.asset_tag for machine in weeks.business.machines}
    assert set(weeks.written) - known == {"QX-77"}
    assert set(weeks.written) >= known
    nightly = [m.asset_tag for m in weeks.business.machines if m.reads == "nightly"]
    assert all(len(weeks.written[tag]) >= 75 for tag in nightly)
    # Those at visits miss some where nobody went: their site was shut.
    assert len(weeks.written[case_tag("shut")]) >= 20
    others = known - set(nightly) - {case_tag("shut")}
    assert all(24 <= len(weeks.written[tag]) <= 36 for tag in others)


def test_check_values_are_right_but_where_meant(weeks):
    found: dict[str, Counter[str]] = {}
    for file in weeks.simulated.files:
        found.setdefault(file.machine_tag, Counter())[verdict(file.data)] += 1
    assert found.pop(case_tag("damaged"))["wrong"] == 1
    assert found.pop(case_tag("truncated"))["missing"] == 1
    assert set(found.pop(case_tag("line_feeds_only"))) == {"ok, line feeds only"}
    of_old_board = found.pop(case_tag("check_swapped"))
    assert set(of_old_board) <= {"swapped", "ok"}
    assert of_old_board["swapped"] > 10 * of_old_board["ok"]
    assert {kind for counts in found.values() for kind in counts} == {"ok"}


def test_segments_are_counted_right(weeks):
    for file in weeks.simulated.files:
        if file.machine_tag == case_tag("truncated"):
            continue
        block = re.split(rb"\r?\n", file.data)
        stated = next(int(line.split(b"*")[1]) for line in block if line.startswith(b"SE*"))
        # All lines but DXS and DXE, and the empty text after the last line end.
        assert stated == len(block) - 3


def test_one_file_comes_twice(weeks):
    tag = case_tag("sent_twice")
    copies = Counter(file.data for file in weeks.written[tag])
    assert sorted(copies.values())[-2:] == [1, 2]


def test_one_file_comes_days_late_after_its_successors(weeks):
    tag = case_tag("sent_late")
    late = [f for f in weeks.written[tag] if f.delivered_at - f.written_at > timedelta(days=1)]
    assert len(late) == 1
    assert late[0].delivered_at - late[0].written_at > LATE_BY
    overtaken_by = [
        file
        for file in weeks.written[tag]
        if file.written_at > late[0].written_at and file.delivered_at < late[0].delivered_at
    ]
    assert len(overtaken_by) >= 3


def test_the_command_writes_them_to_a_folder(tmp_path, capsys):
    folder = tmp_path / "reads"
    assert main([str(folder), "--until", UNTIL.isoformat(), "--weeks", "1"]) == 0
    written = list(folder.iterdir())
    assert f"{len(written)} files" in capsys.readouterr().out
    assert any(path.name.startswith(asset_tag("S01", "A")) for path in written)


@pytest.mark.parametrize("wrong", [["--weeks", "0"], ["--until", "yesterday"]])
def test_the_command_refuses_what_it_cannot_do(tmp_path, capsys, wrong):
    with pytest.raises(SystemExit) as stopped:
        main([str(tmp_path / "reads"), "--until", UNTIL.isoformat(), *wrong])
    assert stopped.value.code == 2
    assert not (tmp_path / "reads").exists()
    assert wrong[0] in capsys.readouterr().err
