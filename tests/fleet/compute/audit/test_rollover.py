"""Counters that have passed their last digit: no check warns, and real faults still show."""

from dataclasses import replace
from datetime import date

import pytest

from demo.business import marrowby
from demo.simulator import simulate_with_truth
from fleet.compute.audit.reader import read_report
from fleet.compute.audit.totals import Amounts
from tests.fleet.compute.audit.samples import sealed

UNTIL = date(2026, 3, 1)


def codes(*lines):
    return read_report(sealed("ID4*2", *lines)).warning_codes() - {"currency_unknown"}


def test_simulated_machines_do_not_warn_when_a_counter_passes_its_last_digit():
    business = marrowby(UNTIL)
    tags = {"MV-1010", "MV-1017"}
    machines = tuple(each for each in business.machines if each.asset_tag in tags)
    business = replace(business, machines=machines)
    reports = {tag: [] for tag in tags}
    for file in simulate_with_truth(business, UNTIL).files:
        tag = file.name[:7]
        if tag in tags:
            reports[tag].append(read_report(file.data))
    cash_vends = [read.totals.cash_sales.count_ever for read in reports["MV-1010"]]
    paid = [read.totals.paid.value_ever_minor for read in reports["MV-1017"]]
    assert cash_vends != sorted(cash_vends)
    assert paid != sorted(paid)
    cash_in = reports["MV-1017"][0].totals.cash_in
    assert cash_in.to_box.ever_minor > cash_in.total.ever_minor
    for read in (*reports["MV-1010"], *reports["MV-1017"]):
        assert {w.code for w in read.warnings if w.effect == "check"} == set()
        assert "cash_flow_not_balanced" not in read.warning_codes()
        assert read.totals.cash_in.bills.ever_minor is not None


def test_payments_are_compared_modulo_the_narrowest_of_them():
    # CA202 has six digits, VA102 and DA202 have eight.
    lines = ("VA1*65000000*1008233*0*0", "DA2*500000*8228*0*0")
    assert codes(*lines, "CA2*64500000*5*0*0") == set()
    assert codes(*lines, "CA2*64500000*6*0*0") == {"sales_not_sum_of_payments"}


def test_without_a_narrow_counter_the_total_s_width_holds():
    assert codes("VA1*100*1000005*0*0", "DA2*100*5*0*0") == {"sales_not_sum_of_payments"}


def test_of_a_swapped_segment_the_width_is_that_of_the_place_where_a_figure_stands():
    # Sent swapped, the never-reset counts stand where the standard gives six digits.
    lines = ("PA1*1*1", "PA2*1*100*999999*400", "PA1*2*1", "PA2*1*100*2*300")
    assert codes("VA1*700*1*200*2", *lines) >= {"halves_swapped"}
    assert "sales_not_sum_of_selections" not in codes("VA1*700*1000001*200*2", *lines)
    assert "sales_not_sum_of_selections" in codes("VA1*700*1000002*200*2", *lines)


@pytest.mark.parametrize("old_bills", ["*50000000", "*500000"], ids=["minor", "whole"])
def test_the_unit_of_bills_is_told_after_cash_in_began_again(old_bills):
    # 30,000,000 to the box, 25,000,000 to the tubes, 50,000,000 in bills: 105,000,000.
    read = read_report(sealed("ID4*2", f"CA3*0*0*0*0*5000000*30000000*25000000{old_bills}"))
    assert read.totals.cash_in.bills == Amounts(50000000, 0)
    assert read.warning_codes() <= {"currency_unknown", "bill_unit_whole"}


def test_cash_in_and_its_coins_are_compared_modulo_their_width():
    coins = ("CA11*100*0*0*0*550000*300000*250000",)
    good = "CA3*0*0*0**5000000*30000000*25000000**0*50000000"
    assert codes(good, *coins) == set()
    assert codes(good.replace("*5000000*", "*5000100*"), *coins) == {
        "cash_in_not_sum",
        "coins_in_not_sum",
    }


def test_a_coin_count_that_began_again_takes_its_own_turn_out_of_the_sum():
    # A since-reset count has six digits: 1,000,003 coins of 5 show as 3 and lack 5,000,000.
    assert codes("CA3*5000015*5000015*0", "CA11*5*3*3*0*4*4*0") == set()
    assert "coins_in_not_sum" in codes("CA3*5000020*5000020*0", "CA11*5*3*3*0*4*4*0")


def test_coins_are_not_summed_where_the_bills_are_undecided():
    read = codes("CA3*6500*4000*1500*77", "CA11*100*55*40*15*60*45*15")
    assert read == {"bill_unit_undecided"}


def test_flow_and_tubes_are_compared_modulo_their_width():
    lines = ("CA4*0*0*60000000*0", "CA2*45000000*9*0*0", "CA15*100")
    assert codes("CA3*0*0*0**5000000*44999900*60000100**0*0", *lines) == set()
    assert codes("CA3*0*0*0**5000001*44999901*60000100**0*0", *lines) == {"cash_flow_not_balanced"}
    # The tubes took in 100,000,100 and so show 100.
    tubes = ("CA4*0*0*99999900*0", "CA15*200")
    assert codes("CA3*0*0*0**100*0*100**0*0", *tubes) == set()
    assert codes("CA3*0*0*0**101*0*101**0*0", *tubes) == {"tubes_not_flow"}


@pytest.mark.parametrize(
    "lines",
    [
        ("VA1*20*2*60*1", "PA1*1*60", "PA2*1*50000010", "PA1*2*60", "PA2*1*50000010"),
        ("VA1*64500060*1000005*300*9", "CA2*64500060*5*300*9"),
        ("CA3*90*60*30**40*50000020*50000020**0*0",),
        (
            "PA1*1*60",
            "PA2*9*20*1*60",
            "PA7*1*CA*0*60*5*50000010*1*60",
            "PA7*1*DA*1*60*4*50000010*0*0",
        ),
    ],
    ids=["VA101", "CA202", "CA305", "PA202"],
)
def test_a_figure_that_began_again_since_the_reset_is_no_breach(lines):
    assert codes(*lines) == set()


@pytest.mark.parametrize(
    "lines",
    [
        ("VA1*20*2*60*1",),
        ("VA1*20*2*60*1", "PA1*1*60", "PA2*1*50000010", "PA1*2*60", "PA2*1*50000011"),
        ("VA1*64500060*1000006*300*9", "CA2*64500060*5*300*9"),
        ("CA3*90*60*30**40*50000020*50000021**0*0",),
        ("CA3*90*60*30**80*61*19**0*0",),
        ("PA1*1*60", "PA2*9*20*1*60"),
    ],
    ids=["alone", "VA101", "CA202", "CA305", "young", "PA202"],
)
def test_a_small_figure_without_a_sum_to_prove_it_stays_a_breach(lines):
    assert "since_reset_exceeds_ever" in codes(*lines)
