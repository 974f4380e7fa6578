"""The service's own reader takes the files for what they are, and cuts from them what was sold."""

from collections import Counter
from zoneinfo import ZoneInfo

import pytest

from demo.business.machines import asset_tag
from demo.simulator import SimulatedFile
from demo.simulator.cases import CASES
from fleet.compute.audit.reader import read_report
from fleet.compute.audit.report import Report
from fleet.compute.audit.totals import Counters
from fleet.compute.intervals.chain import chain
from fleet.compute.intervals.figures import Device
from fleet.compute.intervals.interval import CounterState
from fleet.compute.intervals.snapshot import snapshot_of
from tests.demo.rawfile import RawFile, number, taken_apart


def case_tag(name: str) -> str:
    return next(tag for tag, case in CASES.items() if getattr(case, name))


def counters(elements: list[str], count: int, value: int, since_count: int, since_value: int):
    return Counters(
        count_ever=number(elements, count),
        value_ever_minor=number(elements, value),
        count_since_reset=number(elements, since_count),
        value_since_reset_minor=number(elements, since_value),
    )


def lines_of(data: bytes) -> list[list[str]]:
    """What stands in the file from ST on, elements as written but for the reset password."""
    found = []
    for line in data.decode("ascii").replace("\r\n", "\n").split("\n"):
        elements = line.split("*")
        if elements[0] in ("", "DXS", "DXE"):
            continue
        found.append(elements)
    return found


def without_blanks(elements) -> list[str]:
    kept = list(elements)
    while kept and not kept[-1]:
        kept.pop()
    return kept


def assert_same_segments(report: Report, data: bytes) -> None:
    told = [s for s in report.segments if s.id not in ("DXS", "DXE")]
    written = lines_of(data)
    assert [segment.id for segment in told] == [elements[0] for elements in written]
    for segment, elements in zip(told, written, strict=True):
        if segment.id == "SD1" and elements[1]:
            assert elements[1] not in segment.elements
            continue
        texts = [text.strip() for text in elements[1:]]
        assert without_blanks(segment.elements) == without_blanks(texts)


def assert_same_figures(report: Report, raw: RawFile) -> None:
    assert report.currency.alphabetic == "USD"
    assert report.currency.decimals == 2
    assert report.totals.paid == counters(raw.segments["VA1"][0], 2, 1, 4, 3)
    assert report.totals.test == counters(raw.segments["VA2"][0], 2, 1, 4, 3)
    assert report.totals.free == counters(raw.segments["VA3"][0], 2, 1, 4, 3)
    if raw.has("CA2"):
        assert report.totals.cash_sales == counters(raw.segments["CA2"][0], 2, 1, 4, 3)
        assert report.tubes.total_value_minor == raw.number("CA15", 1)
    if raw.has("DA2"):
        assert report.totals.cashless_1.sales == counters(raw.segments["DA2"][0], 2, 1, 4, 3)
    assert [selection.id for selection in report.selections] == list(raw.selections)
    for selection in report.selections:
        own = raw.selections[selection.id]
        assert selection.price_minor == number(own["PA1"][0], 2)
        assert selection.paid == counters(own["PA2"][0], 1, 2, 3, 4)
        assert selection.test == counters(own["PA3"][0], 1, 2, 3, 4)
        assert selection.free == counters(own["PA4"][0], 1, 2, 3, 4)
        assert (selection.sold_out is not None) == ("PA5" in own)
        lines = own.get("PA7", [])
        assert [line.paid for line in selection.payment_lines] == [
            counters(line, 5, 6, 7, 8) for line in lines
        ]
        assert [
            (line.device, line.price_list, line.applied_price_minor)
            for line in selection.payment_lines
        ] == [(line[2], int(line[3]), int(line[4])) for line in lines]
    assert report.read_info.reads_ever == raw.number("EA3", 9)
    assert report.read_info.resets_ever == raw.number("EA3", 10)
    assert [event.event_id for event in report.event_totals] == [
        event[1] for event in raw.segments.get("EA2", [])
    ]


def test_a_file_reads_back_exactly(weeks):
    damaged = {case_tag("damaged"), case_tag("truncated")}
    checked = 0
    for place, file in enumerate(weeks.simulated.files):
        if place % 15 or file.machine_tag in damaged:
            continue
        report = read_report(file.data)
        assert report.usable_as == "accepted", file.name
        assert_same_segments(report, file.data)
        assert_same_figures(report, taken_apart(file.data))
        checked += 1
    assert checked > 250


def verdicts(files: list[SimulatedFile]) -> Counter:
    reports = [read_report(file.data) for file in files]
    return Counter((report.usable_as, report.integrity.verdict) for report in reports)


@pytest.mark.parametrize("name", ["damaged", "truncated"])
def test_one_spoiled_file_is_held_and_its_neighbours_are_not(weeks, name):
    found = verdicts(weeks.written[case_tag(name)])
    spoiled = "mismatch" if name == "damaged" else "missing"
    assert found["held", spoiled] == 1
    assert set(found) == {("held", spoiled), ("accepted", "ok")}


def test_line_ends_and_swapped_checks_are_seen_through(weeks):
    assert set(verdicts(weeks.written[case_tag("line_feeds_only")])) == {
        ("accepted", "ok_after_crlf_restore")
    }
    # A check whose two bytes are alike reads the same either way.
    found = verdicts(weeks.written[case_tag("check_swapped")])
    assert set(found) <= {("accepted", "ok_byte_swapped"), ("accepted", "ok")}
    assert found["accepted", "ok_byte_swapped"] > found["accepted", "ok"]


def test_an_ordinary_machines_files_raise_no_money_warning(weeks):
    for tag in (asset_tag("S01", "S"), asset_tag("S10", "B"), asset_tag("S39", "A")):
        codes = {
            warning.code
            for file in weeks.written[tag]
            for warning in read_report(file.data).warnings
            if warning.effect != "note"
        }
        assert codes == set(), tag


def intervals(weeks, tag: str):
    """Cut as the files arrive, the held ones left out."""
    machine = next(
        (machine for machine in weeks.business.machines if machine.asset_tag == tag), None
    )
    site = weeks.business.site(machine.site_code if machine else "S39")
    snapshots = []
    for file in weeks.simulated.files:
        if file.machine_tag != tag:
            continue
        report = read_report(file.data)
        if report.usable_as == "accepted":
            snapshots.append(snapshot_of(report, file.name, file.delivered_at))
    return chain(snapshots, zone=ZoneInfo(site.time_zone))


def posted(cut) -> Counter:
    sold: Counter = Counter()
    for interval in cut:
        for line in interval.lines:
            sold[line.selection, "paid"] += line.sold.paid_count or 0
            sold[line.selection, "cents"] += line.sold.paid_value_minor or 0
            sold[line.selection, "test"] += line.sold.test_count or 0
            sold[line.selection, "free"] += line.sold.free_count or 0
    return +sold


def happened(vends) -> Counter:
    sold: Counter = Counter()
    for vend in vends:
        sold[vend.selection, vend.how] += 1
        if vend.how == "paid":
            sold[vend.selection, "cents"] += vend.price_minor
    return sold


ONE_EPOCH = {
    "an ordinary one": asset_tag("S01", "A"),
    "a spiral machine": asset_tag("S03", "S"),
    "a file late": case_tag("sent_late"),
    "a file twice": case_tag("sent_twice"),
    "a damaged file": case_tag("damaged"),
    "a truncated file": case_tag("truncated"),
    "value rolled over": case_tag("value_nearly_full_cents"),
    "cash count rolled over": case_tag("cash_count_nearly_full"),
    "a clock that gains": case_tag("clock_gains_s_per_day"),
    "a clock that was lost": case_tag("clock_lost"),
    "a cashless discount": case_tag("cashless_discount_minor"),
    "a coin unit exchanged": case_tag("coin_unit_swapped"),
    "in no book": "QX-77",
}


@pytest.mark.parametrize("tag", ONE_EPOCH.values(), ids=ONE_EPOCH.keys())
def test_the_sum_of_all_intervals_is_what_happened(weeks, tag):
    files = weeks.written[tag]
    vends = weeks.simulated.truth[tag].between(files[0].written_at, files[-1].written_at)
    assert posted(intervals(weeks, tag)) == happened(vends)


def test_an_exchanged_board_starts_afresh_and_nothing_is_made_up(weeks):
    tag = case_tag("board_swapped")
    files = weeks.written[tag]
    cut = intervals(weeks, tag)
    afresh = [
        interval
        for interval in cut
        if interval.device(Device.CONTROL_BOARD).state is CounterState.NEW_EPOCH
    ]
    assert len(afresh) == 1
    by_name = {file.name: file.written_at for file in files}
    starts, ends = by_name[afresh[0].from_key], by_name[afresh[0].to_key]
    truth = weeks.simulated.truth[tag]
    known = truth.between(files[0].written_at, starts) + truth.between(ends, files[-1].written_at)
    assert posted(interval for interval in cut if interval is not afresh[0]) == happened(known)
