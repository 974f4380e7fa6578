"""What really happened is what the counters say, and the special cases are where they were put."""

import itertools
from collections import Counter
from datetime import datetime, timedelta

import pytest

from demo.business.machines import asset_tag
from demo.simulator.cases import CASES
from demo.simulator.truth import Vend
from tests.demo.conftest import UNTIL
from tests.demo.rawfile import RawFile, number, taken_apart


def case_tag(name: str) -> str:
    return next(tag for tag, case in CASES.items() if getattr(case, name))


def counted(before: RawFile, after: RawFile) -> Counter:
    """Vends and cents by selection and kind, from the differences of never-reset counters."""
    sold: Counter = Counter()
    for selection, segments in after.selections.items():
        earlier = before.selections[selection]
        for how, segment in (("paid", "PA2"), ("test", "PA3"), ("free", "PA4")):
            new, old = segments[segment][0], earlier[segment][0]
            sold[selection, how] += number(new, 1) - number(old, 1)
            sold[selection, how, "cents"] += number(new, 2) - number(old, 2)
    return +sold


def happened(vends: list[Vend]) -> Counter:
    sold: Counter = Counter()
    for vend in vends:
        sold[vend.selection, vend.how] += 1
        sold[vend.selection, vend.how, "cents"] += vend.price_minor
    return sold


def test_counter_differences_between_reads_are_what_happened(weeks):
    differences = 0
    for tag, files in weeks.written.items():
        case = CASES.get(tag)
        if case is not None and (case.damaged or case.truncated or case.sent_twice):
            continue
        truth = weeks.simulated.truth[tag]
        read = [(file.written_at, taken_apart(file.data)) for file in files]
        for (starts, before), (ends, after) in itertools.pairwise(read):
            if before.segments["CB1"] != after.segments["CB1"]:
                continue
            assert counted(before, after) == happened(truth.between(starts, ends)), (tag, starts)
            differences += 1
    assert differences > 3000


def test_cash_and_cashless_are_what_happened(weeks):
    for tag in (asset_tag("S01", "A"), asset_tag("S11", "S"), asset_tag("S10", "B")):
        truth = weeks.simulated.truth[tag]
        files = weeks.written[tag]
        first, last = (taken_apart(file.data) for file in (files[0], files[-1]))
        vends = truth.between(files[0].written_at, files[-1].written_at)
        for segment, device in (("CA2", "CA"), ("DA2", "DA")):
            own = [vend for vend in vends if vend.device == device]
            assert last.number(segment, 2) - first.number(segment, 2) == len(own) > 0
            value = sum(vend.price_minor for vend in own)
            assert last.number(segment, 1) - first.number(segment, 1) == value


def test_days_sum_up_to_all_vends(weeks):
    truth = weeks.simulated.truth[asset_tag("S06", "A")]
    days = truth.by_column_and_day()
    assert sum(day.paid for day in days.values()) == sum(v.how == "paid" for v in truth.vends)
    assert sum(day.dropped for day in days.values()) == sum(v.dropped for v in truth.vends)


def test_stock_leaves_as_it_drops_and_comes_as_it_is_filled(weeks):
    """Between two counts: counted = counted before + put in - taken out - dropped, to the unit.

    Test vends are laid in again before the driver leaves.
    """
    checked = 0
    for truth in weeks.simulated.truth.machines.values():
        for first, second in itertools.pairwise(truth.visits):
            dropped: Counter = Counter()
            for vend in truth.between(first.at, second.at):
                if vend.how != "test":
                    dropped[vend.column] += vend.dropped
            later = {fill.column: fill for fill in second.fills}
            for fill in first.fills:
                left = fill.counted - fill.pulled - fill.out_of_date + fill.filled
                left -= dropped[fill.column]
                assert left == later[fill.column].counted, (truth.asset_tag, fill.column, first.at)
                checked += 1
    assert checked > 10_000


def test_no_column_is_filled_beyond_its_capacity(weeks):
    for truth in weeks.simulated.truth.machines.values():
        capacity = {
            set_up.column: set_up.capacity
            for set_up in weeks.business.set_ups_of(truth.asset_tag)
            if set_up.ends is None
        }
        for visit in truth.visits[-3:]:
            for fill in visit.fills:
                if fill.column in capacity and fill.column not in visit.changed_columns:
                    taken_out = fill.pulled + fill.out_of_date
                    assert fill.counted - taken_out + fill.filled <= capacity[fill.column]


def test_some_columns_run_dry_and_turn_people_away(weeks):
    truths = weeks.simulated.truth.machines.values()
    dry = [one for truth in truths for one in truth.emptied if not one.false]
    assert 200 < len(dry) < 2000
    assert sum(len(truth.turned_away) for truth in truths) > 1000


def test_a_wrong_program_gives_two_for_one_in_its_column_only(weeks):
    for truth in weeks.simulated.truth.machines.values():
        twice = {vend.column for vend in truth.vends if vend.dropped > 1}
        if truth.asset_tag != asset_tag("S12", "C"):
            assert not twice
            continue
        assert twice == {"6"}
        after = [v for v in truth.vends if v.column == "6" and v.product_code == "pomarin-250"]
        assert sum(vend.dropped for vend in after) > 1.5 * len(after)


def test_a_wrong_program_makes_a_full_column_seem_empty(weeks):
    false = {
        (truth.asset_tag, one.column)
        for truth in weeks.simulated.truth.machines.values()
        for one in truth.emptied
        if one.false
    }
    tag = asset_tag("S19", "A")
    jammed = {(of, jam.column) for of, case in CASES.items() for jam in case.jams}
    assert len(jammed) > 5
    assert false == {(tag, "4")} | jammed
    # The board says sold out; the visit finds the column all but full.
    truth = weeks.simulated.truth[tag]
    last = [one.at for one in truth.emptied if one.false][-2]
    visit = next(visit for visit in truth.visits if visit.at > last)
    fill = next(fill for fill in visit.fills if fill.column == "4")
    assert fill.counted >= 15
    raw = next(taken_apart(file.data) for file in weeks.written[tag] if file.written_at > last)
    assert any(event[1] == "ELB_4" and event[5] == "1" for event in raw.segments["EA2"])


def test_changeovers_pull_the_old_and_prove_the_new(weeks):
    tag = asset_tag("S01", "A")
    truth = weeks.simulated.truth[tag]
    visit = next(visit for visit in truth.visits if visit.changed_columns)
    assert visit.changed_columns == ("5",)
    fill = next(fill for fill in visit.fills if fill.column == "5")
    assert fill.pulled == fill.counted > 0
    assert fill.product_code == "voltwren-light-16"
    tests = [v for v in truth.vends if v.at == visit.at and v.how == "test" and v.column == "5"]
    assert len(tests) >= 4


def machine_clock(raw: RawFile) -> datetime:
    """ID5: date and time in either of their lengths, seconds apart where there are none."""
    _, date_text, time_text, seconds, *_ = [*raw.segments["ID5"][0], "", ""]
    day = datetime.strptime(date_text, "%Y%m%d" if len(date_text) == 8 else "%y%m%d")  # noqa: DTZ007
    if len(time_text) == 4:
        time_text += f"{int(seconds):02d}"
    return day.replace(
        hour=int(time_text[:2]), minute=int(time_text[2:4]), second=int(time_text[4:6])
    )


def drift(weeks, tag: str, place: int) -> timedelta:
    file = weeks.written[tag][place]
    return machine_clock(taken_apart(file.data)) - file.written_at.replace(tzinfo=None)


def test_clocks_are_right_but_one_gains_and_one_was_lost(weeks):
    gaining, lost = case_tag("clock_gains_s_per_day"), case_tag("clock_lost")
    for tag in weeks.written:
        if tag not in (gaining, lost):
            assert drift(weeks, tag, -1) == timedelta(0), tag
    assert timedelta(minutes=100) < drift(weeks, gaining, -1) < timedelta(minutes=110)
    assert drift(weeks, gaining, 5) < timedelta(minutes=10)
    assert drift(weeks, lost, 0) == timedelta(0)
    assert machine_clock(taken_apart(weeks.written[lost][-1].data)).year == 2010


@pytest.mark.parametrize("text", ["", "4294967295"])
def test_some_boards_do_not_know_their_asset_number(weeks, text):
    tag = next(tag for tag, case in CASES.items() if case.asset_text == text)
    assert taken_apart(weeks.written[tag][0].data).segments["ID1"][0][6] == text


def test_a_warm_cabinet_says_so(weeks):
    tag = case_tag("warm_since")
    first, last = (taken_apart(weeks.written[tag][place].data) for place in (0, -1))
    assert "EJJ" not in {event[1] for event in first.segments.get("EA2", [])}
    assert ["EJJ", "1"] in [[event[1], event[5]] for event in last.segments["EA2"]]
    celsius = [float(raw.segments["MA5"][0][2].split()[1].rstrip("C")) for raw in (first, last)]
    assert celsius[0] < 5
    assert celsius[1] > 12


def test_weekday_and_season_can_be_seen(weeks):
    office = weeks.simulated.truth[asset_tag("S01", "A")]
    assert all(vend.at.weekday() < 5 for vend in office.vends if vend.how == "paid")
    drinks = weeks.simulated.truth[asset_tag("S11", "A")]
    weekdays = Counter(vend.at.weekday() for vend in drinks.vends)
    assert weekdays[6] < 0.7 * weekdays[2]


def test_a_jammed_column_is_silent_until_a_visit_mends_it(weeks):
    for tag, case in CASES.items():
        truth = weeks.simulated.truth.machines[tag]
        for jam in case.jams:
            sold = [UNTIL - vend.at.date() for vend in truth.vends if vend.column == jam.column]
            days = [one.days for one in sold]
            mended = 0 if jam.mended is None else jam.mended
            assert any(day > jam.days_before for day in days)
            assert not any(mended + 4 < day < jam.days_before for day in days)
            assert jam.mended is None or any(day < mended for day in days)


def test_nobody_buys_or_fills_where_a_site_is_shut(weeks):
    for tag, case in CASES.items():
        if case.shut is not None:
            truth = weeks.simulated.truth.machines[tag]
            when = [vend.at for vend in truth.vends] + [visit.at for visit in truth.visits]
            assert when
            assert not any(case.shut.holds((UNTIL - at.date()).days) for at in when)


def test_bags_are_short_where_money_goes_missing_alone(weeks):
    for tag, truth in weeks.simulated.truth.machines.items():
        went = sum(visit.collected_minor for visit in truth.visits)
        found = sum(visit.counted_minor for visit in truth.visits)
        short = CASES[tag].short_bags if tag in CASES else None
        assert (went - found > 1000) == (short is not None)
