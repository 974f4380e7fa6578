"""Totals, the unit of bills, and the checks that warn without rejecting."""

import pytest

from fleet.compute.audit.reader import read_report
from fleet.compute.audit.totals import Amounts, Counters
from tests.fleet.compute.audit.samples import READ_A, resealed, sealed


def read(*lines, decimals=2):
    return read_report(sealed(f"ID4*{decimals}", *lines))


def changed(old, new):
    assert READ_A.count(old) == 1
    return read_report(resealed(READ_A.replace(old, new)))


def codes(report):
    return report.warning_codes() - {"currency_unknown"}


def test_the_order_of_halves_differs_by_segment():
    report = read(
        "CA7*1*2*3*4*5*6*7*8", "CA8*10*240", "DA5*1*2*3*4", "DA10*1*2*3*4", "TA2*5*6*7*8*1*2*3*4"
    )
    totals = report.totals
    assert totals.cash_discounts == Counters(4, 2, 3, 1)
    assert totals.cash_surcharges == Counters(8, 6, 7, 5)
    assert totals.cash_overpay == Amounts(240, 10)
    assert totals.cashless_1.discounts == Counters(4, 3, 2, 1)
    assert totals.cashless_1.mixed_payment_cashless_part == Counters(1, 2, 3, 4)
    assert totals.vend_tokens == Counters(6, 5, 8, 7)
    assert totals.value_tokens == Counters(2, 1, 4, 3)


def test_surcharges_of_va1_are_count_first():
    report = read("VA1*1000*10*100*1*20*2*10*1*3*30*0*0")
    assert report.totals.paid == Counters(10, 1000, 1, 100)
    assert report.totals.paid_discounts == Counters(2, 20, 1, 10)
    assert report.totals.paid_surcharges == Counters(3, 30, 0, 0)


def test_the_second_cashless_reader_has_the_same_layout():
    report = read("DB2*500*5*100*1", "DB4*7*3")
    assert report.totals.cashless_2.sales == Counters(5, 500, 1, 100)
    assert report.totals.cashless_2.revalued == Amounts(7, 3)


@pytest.mark.parametrize(
    ("line", "decimals", "bills", "unit"),
    [
        ("CA3*6500*4000*1500*10*16000*9000*5000*20", 2, Amounts(2000, 1000), "whole"),
        ("CA3*6500*4000*1500*1000*16000*9000*5000*2000", 2, Amounts(2000, 1000), "minor"),
        ("CA3*5500*4000*1500*0*16000*9000*5000*20", 2, Amounts(2000, 0), "whole"),
        ("CA3*5500*4000*1500*0*14000*9000*5000*0", 2, Amounts(0, 0), "minor"),
        ("CA3*6500*4000*1500*77*16000*9000*5000*88", 2, Amounts(), "undecided"),
        ("CA3****10****20", 2, Amounts(), "undecided"),
        ("CA3*6500*4000*1500*1000*16000*9000*5000*2000", 0, Amounts(2000, 1000), "minor"),
        ("CA3*6500*4000*1500*10*16000*9000*5000*20*1000*2000", 2, Amounts(2000, 1000), None),
        ("CA3*5500*4000*1500", 2, Amounts(), None),
    ],
)
def test_the_unit_of_bills_is_what_makes_the_sum(line, decimals, bills, unit):
    cash_in = read(line, decimals=decimals).totals.cash_in
    assert cash_in.bills == bills
    assert cash_in.bill_unit == unit


def test_the_sample_passes_every_check():
    assert read_report(READ_A).warnings == ()


def test_cash_in_is_box_and_tubes_and_bills():
    report = changed(b"CA3*7840*4540", b"CA3*7840*4541")
    assert codes(report) == {"cash_in_not_sum"}
    assert report.usable_as == "accepted"


def test_paid_vends_are_cash_and_cashless():
    report = changed(b"CA2*374360*3327", b"CA2*374360*3328")
    assert codes(report) == {"sales_not_sum_of_payments"}
    assert [warning.where for warning in report.warnings] == ["VA102"]


def test_paid_vends_are_the_sum_over_selections_and_payment_lines():
    report = changed(b"PA7*A2*DA*1*110*95*10450", b"PA7*A2*DA*1*110*96*10560")
    assert codes(report) == {"sales_not_sum_of_payment_lines"}
    assert {warning.where for warning in report.warnings} == {"VA101", "VA102"}


def test_sums_hold_across_a_total_that_passed_its_last_digit():
    report = read("VA1*100*1*0*0", "PA1*1*100", "PA2*1*99999900", "PA1*2*100", "PA2*0*200")
    assert codes(report) == set()


def test_swapped_halves_are_put_right_before_summing():
    report = read("VA1*700*7*200*2", "PA1*1*1", "PA2*1*100*4*400", "PA1*2*1", "PA2*1*100*3*300")
    assert codes(report) == {"halves_swapped"}


def test_unknown_parts_are_not_summed():
    report = read("VA1*700*7", "PA1*1*100", "PA2*7", "CA2*700", "DA2**")
    assert codes(report) == set()


def test_coins_by_value():
    lines = ("CA11*100*5*3*2*50*30*20", "CA11*50*2*2*0*20*20*0", "CA12*50*4*0*40*0")
    good = read("CA3*600*400*200**6000*4000*2000", "CA4*200*0*2000*0", *lines)
    assert codes(good) == set()
    assert [(coin.value_minor, coin.in_ever, coin.out_ever) for coin in good.coins] == [
        (100, 50, None),
        (50, 20, 40),
    ]
    bad = read("CA3*601*401*199**6000*4000*2000", "CA4*201*0*2000*0", *lines)
    assert codes(bad) >= {
        "coins_in_not_sum",
        "coins_to_box_not_sum",
        "coins_to_tubes_not_sum",
        "coins_out_not_sum",
    }


def test_bills_by_value():
    report = read("CA14*500*12*10*120*100")
    bill = report.bills[0]
    assert (bill.value_minor, bill.validated_ever, bill.validated_since_reset) == (500, 120, 12)
    assert (bill.stacked_ever, bill.stacked_since_reset) == (100, 10)


def test_tube_contents_in_two_blocks():
    report = read("CA15*2625*1*41*58", "CA15**2*3")
    assert report.tubes.counts == (41, 58, None, None, None, None, None, None, 3)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (b"CA17*0*5*41*", b"CA17*0*5*42*", "tubes_not_sum"),
        (b"CA15*2625", b"CA15*2620", "tubes_not_flow"),
        (b"CA8*10*240", b"CA8*20*250", "cash_flow_not_balanced"),
    ],
)
def test_hints_are_notes_only(old, new, code):
    report = changed(old, new)
    assert code in codes(report)
    assert {warning.effect for warning in report.warnings} == {"note"}
    assert report.usable_as == "accepted"
