from dataclasses import replace

import pytest

from fleet.compute.intervals.counting import How, step
from fleet.compute.intervals.cut import cut
from fleet.compute.intervals.drift import KnownBy
from fleet.compute.intervals.figures import Device, line_counters
from fleet.compute.intervals.interval import CounterState, Matched, Quality
from fleet.compute.intervals.snapshot import SelectionReading
from tests.fleet.compute.intervals.machine import a_day, only, with_line, with_total

BALANCED = {"paid_count", "paid_value_minor", "test_count", "test_value_minor"}


def test_a_day_is_cut_by_selection_and_in_total():
    _, before, after = a_day()
    interval = cut(before, after)
    eleven, twelve = interval.line("11"), interval.line("12")
    assert (eleven.sold.paid_count, eleven.sold.paid_value_minor) == (5, 600)
    assert (eleven.cash_count, eleven.cash_value_minor) == (3, 360)
    assert (eleven.cashless_count, eleven.cashless_value_minor) == (2, 240)
    assert (twelve.sold.paid_count, twelve.sold.test_count, twelve.sold.free_count) == (4, 2, 1)
    assert twelve.sold.units_out == 7
    assert (interval.machine.paid_count, interval.machine.paid_value_minor) == (9, 1200)
    assert (interval.machine.cash_count, interval.machine.cashless_1_count) == (7, 2)
    assert interval.unassigned.paid_count == 0
    assert interval.why_not == ()
    assert interval.notes == ()
    assert interval.quality is Quality.WHOLE
    assert {balance.figure for balance in interval.balances} >= BALANCED
    assert (interval.currency, interval.exponent) == ("EUR", 2)
    assert (interval.end.at - interval.start.at).days == 1


def test_a_selection_missing_from_a_read_leaves_its_sales_unassigned():
    _, before, after = a_day()
    interval = cut(before, only(after, "11"))
    gone = interval.line("12")
    assert gone.matched is Matched.VANISHED
    assert gone.sold.paid_count is None
    assert (interval.unassigned.paid_count, interval.unassigned.paid_value_minor) == (4, 600)
    assert interval.why_not == ()
    assert {"selection_vanished", "unassigned"} <= interval.note_codes()
    assert interval.quality is Quality.PARTIAL


def test_a_selection_that_appears_counts_from_zero_only_if_the_total_says_so():
    _, before, after = a_day()
    fresh = with_line(only(after, "11", "12"), "12", selection="40")
    interval = cut(only(before, "11"), fresh)
    # 54 paid vends on a line that is new, where the machine counted 4 beyond selection 11.
    assert interval.line("40").sold.paid_count is None
    assert interval.unassigned.paid_count == 4

    exact = with_line(
        after, "12", selection="40", ever=line_counters(paid_count=4, paid_value_minor=600)
    )
    interval = cut(only(before, "11"), exact)
    assert interval.line("40").sold.paid_count == 4
    assert interval.unassigned.paid_count == 0
    assert "counted_from_zero" in interval.note_codes()


def test_leading_zeros_are_matched_and_flagged_but_never_against_an_exact_match():
    _, before, after = a_day()
    interval = cut(with_line(before, "11", selection="011"), after)
    assert interval.line("11").matched is Matched.NORMALISED
    assert interval.line("11").sold.paid_count == 5
    assert "id_matched_normalised" in interval.note_codes()

    both = replace(
        after, selections=(*after.selections, SelectionReading("011", ever=line_counters()))
    )
    interval = cut(before, both)
    assert interval.line("11").matched is Matched.EXACT
    assert interval.line("011").matched is Matched.APPEARED


def test_an_id_that_could_be_two_selections_is_not_matched():
    _, before, after = a_day()
    before = with_line(with_line(before, "11", selection="07"), "12", selection="007")
    interval = cut(before, only(with_line(after, "11", selection="7"), "7"))
    assert interval.line("7").matched is Matched.APPEARED
    assert interval.line("7").sold.paid_count is None


def test_a_line_does_not_wrap_by_more_than_the_machine_sold():
    _, before, after = a_day()
    near_top = line_counters(paid_count=99_999_990, paid_value_minor=1000)
    before = with_line(before, "11", ever=near_top)
    wrapped = line_counters(paid_count=0, paid_value_minor=1000)
    interval = cut(before, with_line(after, "11", ever=wrapped))
    # 10 across the top, where the whole machine sold 9.
    assert interval.line("11").sold.paid_count is None
    assert ("paid_count", How.WENT_BACK) in interval.line("11").how


def test_an_interval_never_ends_before_it_starts():
    _, before, after = a_day()
    behind = replace(
        after,
        received_at=before.received_at.replace(hour=18),
        machine_clock=before.machine_clock.replace(hour=2),
    )
    interval = cut(before, behind)
    assert interval.start.at == interval.end.at
    assert interval.end.known_by is KnownBy.BOUNDED
    assert "times_disagree" in interval.note_codes()


def test_two_selections_of_one_id_are_kept_apart_and_flagged():
    _, before, after = a_day()
    before = with_line(before, "12", selection="11", ordinal=2)
    after = with_line(after, "12", selection="11", ordinal=2)
    interval = cut(before, after)
    assert [interval.line("11", ordinal).sold.paid_count for ordinal in (1, 2)] == [5, 4]
    assert "duplicate_selection" in interval.note_codes()


def test_blank_is_unknown_and_not_zero():
    _, before, after = a_day()
    interval = cut(before, with_line(after, "11", ever=line_counters(), payments=()))
    line = interval.line("11")
    assert line.sold.paid_count is None
    assert ("paid_count", How.BLANK) in line.how
    assert interval.unassigned.paid_count == 5
    assert interval.quality is Quality.PARTIAL


def test_without_a_machine_total_the_balance_says_so():
    _, before, after = a_day()
    blank = {"paid_count": None, "paid_value_minor": None}
    interval = cut(with_total(before, **blank), with_total(after, **blank))
    assert interval.line("11").sold.paid_count == 5
    assert interval.unassigned.paid_count is None
    assert any("paid_count" in why for why in interval.why_not)


def test_selections_beyond_the_machine_total_are_said_and_nothing_is_negative():
    _, before, after = a_day()
    interval = cut(before, with_total(after, paid_count=before.total("paid_count") + 7))
    assert interval.unassigned.paid_count == 0
    assert any("2 more than it counted" in why for why in interval.why_not)


@pytest.mark.parametrize(
    ("before", "after", "ceiling", "amount", "how"),
    [
        (10, 10, None, 0, How.COUNTED),
        (10, 25, None, 15, How.COUNTED),
        (999_990, 5, None, 15, How.WRAPPED),
        (999_990, 5, 15, 15, How.WRAPPED),
        (999_990, 5, 14, None, How.WENT_BACK),
        (900_000, 5, None, None, How.WENT_BACK),
        (950_000, 60_000, None, None, How.WENT_BACK),
        (500, 0, None, None, How.WENT_BACK),
        (None, 5, None, None, How.BLANK),
        (5, None, None, None, How.BLANK),
    ],
)
def test_one_counter_of_six_digits(before, after, ceiling, amount, how):
    assert step(before, after, 10**6, ceiling) == (amount, how)


def test_a_line_that_went_back_is_unknown_and_the_machine_total_still_holds():
    _, before, after = a_day()
    low = line_counters(paid_count=10, paid_value_minor=1200, test_count=0, free_count=0)
    interval = cut(before, with_line(after, "11", ever=low))
    assert interval.line("11").sold.paid_count is None
    assert "counter_went_back" in interval.note_codes()
    assert interval.unassigned.paid_count == 5
    assert interval.device(Device.CONTROL_BOARD).state is CounterState.SAME


def test_prices_times_ten_with_counters_as_before_only_remark():
    _, before, after = a_day()
    after = with_line(with_line(after, "11", price_minor=1200), "12", price_minor=1500)
    interval = cut(before, after)
    assert "price_moved_by_ten" in interval.note_codes()
    assert interval.line("11").sold.paid_value_minor == 600


def test_counters_in_another_decimal_are_not_subtracted():
    _, before, after = a_day()
    tens = with_total(after, paid_value_minor=after.total("paid_value_minor") * 10)
    tens = with_line(with_line(tens, "11", price_minor=1200), "12", price_minor=1500)
    interval = cut(before, tens)
    assert interval.machine.paid_count == 9
    assert interval.machine.paid_value_minor is None
    assert interval.line("11").sold.paid_count == 5
    assert interval.line("11").sold.paid_value_minor is None
    assert "decimals_changed" in interval.note_codes()
    assert any("decimal" in why for why in interval.why_not)

    stated = replace(after, exponent=1)
    assert "decimals_changed" in cut(before, stated).note_codes()
    unstated = replace(after, exponent=0, exponent_stated=False)
    assert "decimals_changed" not in cut(before, unstated).note_codes()


def test_payment_devices_that_do_not_add_up_are_remarked():
    _, before, after = a_day()
    interval = cut(before, with_total(after, cash_value_minor=after.total("cash_value_minor") + 13))
    assert "payment_devices_differ" in interval.note_codes()
    assert interval.why_not == ()
