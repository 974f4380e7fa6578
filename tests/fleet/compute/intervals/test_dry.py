from dataclasses import replace
from datetime import datetime, timedelta

from fleet.compute.intervals.cut import cut
from fleet.compute.intervals.interval import Confidence
from tests.fleet.compute.intervals.machine import a_day, with_line

AT_NOON = datetime.fromisoformat("2026-03-02T12:00")


def signs(before=None, after=None, **keywords):
    _, first, second = a_day()
    first = with_line(first, "11", **(before or {}))
    second = with_line(second, "11", **(after or {}))
    found = cut(first, second, **keywords).line("11").ran_dry
    return [(sign.evidence, sign.confidence) for sign in found]


def test_no_sign_without_evidence():
    assert signs() == []


def test_a_level_that_came_down_to_zero_outranks_one_never_kept():
    fell = signs({"current_level": 4}, {"current_level": 0})
    assert fell == [("level_zero", Confidence.STRONG)]
    assert signs({"current_level": 0}, {"current_level": 0}) == [("level_zero", Confidence.WEAK)]
    assert signs({}, {"current_level": 0}) == [("level_zero", Confidence.FAIR)]


def test_the_best_sign_comes_first():
    found = signs(
        {"current_level": 0},
        {"current_level": 0, "sold_out_event_active": True, "sold_out_event_at": AT_NOON},
    )
    assert found == [("event_active", Confidence.STRONG), ("level_zero", Confidence.WEAK)]


def test_an_event_counts_only_if_it_happened_in_the_interval():
    assert signs({"sold_out_event_count": 6}, _event(6, None)) == []
    assert signs({"sold_out_event_count": 6}, _event(7, None)) == [("event", Confidence.STRONG)]
    assert signs({}, _event(None, AT_NOON)) == [("event", Confidence.STRONG)]
    assert signs({}, _event(None, AT_NOON - timedelta(days=9))) == []


def _event(count, at):
    return {
        "sold_out_event_active": False,
        "sold_out_event_count": count,
        "sold_out_event_at": at,
    }


def test_a_date_that_may_be_the_last_sale_is_fair_and_on_some_models_nothing():
    dated = {"sold_out_at": AT_NOON}
    assert signs({}, dated) == [("sold_out_date", Confidence.FAIR)]
    assert signs({}, dated, sold_out_date_is_last_sale=True) == []
    asked = {**dated, "asked_while_sold_out": 3}
    expected = [("asked_while_sold_out", Confidence.STRONG)]
    assert signs({}, asked) == expected
    assert signs({}, asked, sold_out_date_is_last_sale=True) == expected


def test_an_absent_motor_did_not_run_dry():
    assert signs({}, {"current_level": 0, "motor_absent": True}) == []


def test_the_clock_of_the_machine_decides_and_not_the_time_of_receipt():
    _, first, second = a_day()
    slow = timedelta(days=400)
    first = replace(first, machine_clock=first.machine_clock - slow)
    second = with_line(
        replace(second, machine_clock=second.machine_clock - slow),
        "11",
        sold_out_at=AT_NOON - slow,
    )
    assert [sign.at for sign in cut(first, second).line("11").ran_dry] == [AT_NOON - slow]
