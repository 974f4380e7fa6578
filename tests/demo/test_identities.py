"""Every file's money adds up, by the cross-checks that real files were found to pass.

The identities are those of the open vending audit data standard's cash segments; counters go on
from nought past their last digit, so sums are compared by that many digits.
"""

import itertools
from collections.abc import Iterator

import pytest

from demo.simulator import SimulatedFile
from demo.simulator.cases import CASES
from tests.demo.rawfile import RawFile, number, taken_apart

MONEY = 10**8
CASH_COUNT = 10**6


def sound(weeks) -> Iterator[tuple[SimulatedFile, RawFile]]:
    for tag, files in weeks.written.items():
        case = CASES.get(tag)
        if case is not None and (case.damaged or case.truncated):
            continue
        for file in files:
            yield file, taken_apart(file.data)


@pytest.fixture(scope="module")
def raw_files(weeks):
    return list(sound(weeks))


def bills(raw: RawFile, old: int, new: int) -> int:
    """Bills in cents: the newer element, or the old one in whole currency units."""
    if len(raw.segments["CA3"][0]) > new:
        return raw.number("CA3", new)
    return raw.number("CA3", old) * 100


def test_cash_in_is_box_and_tubes_and_bills(raw_files):
    checked = 0
    for file, raw in raw_files:
        if not raw.has("CA3"):
            continue
        for total, box, tubes, old, new in ((1, 2, 3, 4, 9), (5, 6, 7, 8, 10)):
            parts = raw.number("CA3", box) + raw.number("CA3", tubes) + bills(raw, old, new)
            assert (raw.number("CA3", total) - parts) % MONEY == 0, file.name
        checked += 1
    assert checked > 3000


def test_cash_in_is_the_sum_of_its_coins_and_bills(raw_files):
    checked = 0
    for file, raw in raw_files:
        if not raw.has("CA11"):
            continue
        checked += 1
        # CA3's total, box, tubes; CA11's count in, to box, to tubes; CA14's stacked; each half.
        for first_of_ca3, first_of_ca11, stacked in ((1, 2, 3), (5, 5, 5)):
            coins = [
                sum(
                    number(coin, 1) * number(coin, first_of_ca11 + part)
                    for coin in raw.segments["CA11"]
                )
                for part in range(3)
            ]
            notes = sum(number(bill, 1) * number(bill, stacked) for bill in raw.segments["CA14"])
            stated = [raw.number("CA3", first_of_ca3 + part) for part in range(3)]
            found = [coins[0] + notes, coins[1], coins[2]]
            assert all((a - b) % MONEY == 0 for a, b in zip(stated, found, strict=True)), file.name
        for ca4, ca12 in ((1, 2), (2, 3), (3, 4), (4, 5)):
            out = sum(number(coin, 1) * number(coin, ca12) for coin in raw.segments["CA12"])
            assert (raw.number("CA4", ca4) - out) % MONEY == 0, file.name
        for ca10, ca13 in ((1, 2), (2, 3)):
            filled = sum(number(coin, 1) * number(coin, ca13) for coin in raw.segments["CA13"])
            assert raw.number("CA10", ca10) == filled, file.name
    assert checked > 2000


def parts_exchanged(tag: str) -> bool:
    case = CASES.get(tag)
    return case is not None and bool(case.board_swapped or case.coin_unit_swapped)


def test_paid_vends_are_cash_and_cashless(raw_files):
    checked = 0
    for file, raw in raw_files:
        if parts_exchanged(file.machine_tag):
            # Board and coin unit count apart, so one of them starts again without the other.
            continue
        checked += 1
        for position, modulus in ((1, MONEY), (2, CASH_COUNT), (3, MONEY), (4, CASH_COUNT)):
            parts = raw.number("CA2", position) + raw.number("DA2", position)
            assert (raw.number("VA1", position) - parts) % modulus == 0, file.name
    assert checked > 3000


def test_an_exchanged_part_leaves_the_others_counting(weeks):
    for tag, case in CASES.items():
        if not (case.board_swapped or case.coin_unit_swapped):
            continue
        raws = [taken_apart(file.data) for file in weeks.written[tag]]
        boards = [raw.segments["CB1"][0][1] for raw in raws]
        coin_units = [raw.segments["CA1"][0][1] for raw in raws]
        assert (len(set(boards)), len(set(coin_units))) in ((2, 1), (1, 2))
        fell = {"VA1": 0, "CA2": 0}
        for before, after in itertools.pairwise(raws):
            for segment in fell:
                fell[segment] += after.number(segment, 1) < before.number(segment, 1)
        assert fell == {
            "VA1": int(bool(case.board_swapped)),
            "CA2": int(bool(case.coin_unit_swapped)),
        }


def test_paid_vends_are_the_sum_of_the_selections_and_of_their_payment_lines(raw_files):
    with_lines = 0
    for file, raw in raw_files:
        own = [segments["PA2"][0] for segments in raw.selections.values()]
        # PA2 and PA7 are count then value; VA1 is value then count.
        for va1, pa2, pa7 in ((2, 1, 5), (1, 2, 6), (4, 3, 7), (3, 4, 8)):
            stated = raw.number("VA1", va1)
            assert (stated - sum(number(one, pa2) for one in own)) % MONEY == 0, file.name
            if raw.has("PA7"):
                lines = sum(number(one, pa7) for one in raw.segments["PA7"])
                assert (stated - lines) % MONEY == 0, file.name
        with_lines += raw.has("PA7")
    assert with_lines > 2000


def test_tests_free_vends_and_discounts_add_up_too(raw_files):
    for file, raw in raw_files:
        for machine, selection in (("VA2", "PA3"), ("VA3", "PA4")):
            own = [segments[selection][0] for segments in raw.selections.values()]
            for total, part in ((2, 1), (1, 2), (4, 3), (3, 4)):
                assert raw.number(machine, total) == sum(number(one, part) for one in own), (
                    file.name
                )
        own = [segments["PA2"][0] for segments in raw.selections.values()]
        for total, part in ((6, 5), (5, 6), (8, 7), (7, 8)):
            assert raw.number("VA1", total) == sum(number(one, part) for one in own), file.name


def test_the_tubes_hold_what_went_in_and_did_not_come_out(raw_files):
    for file, raw in raw_files:
        if not raw.has("CA15"):
            continue
        contents = raw.number("CA15", 1)
        tubes = sum(number(tube, 2) * number(tube, 3) for tube in raw.segments["CA17"])
        assert contents == tubes, file.name
        assert (raw.number("CA3", 7) - raw.number("CA4", 3) - contents) % MONEY == 0, file.name


def test_cash_that_stayed_is_sales_and_fills_and_overpayment(raw_files):
    for file, raw in raw_files:
        if not raw.has("CA3"):
            continue
        # Total in, out, out by hand, sales, filled, overpaid: since reset, and ever.
        for cash_in, out, by_hand, sales, filled, overpaid in (
            (1, 1, 2, 3, 1, 1),
            (5, 3, 4, 1, 2, 2),
        ):
            stayed = raw.number("CA3", cash_in) - raw.number("CA4", out)
            expected = (
                raw.number("CA2", sales)
                + raw.number("CA10", filled)
                - raw.number("CA4", by_hand)
                + raw.number("CA8", overpaid)
            )
            assert (stayed - expected) % MONEY == 0, file.name


def test_counters_keep_to_their_widths_and_since_never_exceeds_ever(raw_files):
    widths = {("VA1", 1): 8, ("VA1", 2): 8, ("VA1", 4): 6, ("CA2", 2): 6, ("VA2", 4): 4}
    for file, raw in raw_files:
        for (segment, position), digits in widths.items():
            assert 0 <= raw.number(segment, position) < 10**digits, file.name
        for segments in raw.selections.values():
            one = segments["PA2"][0]
            assert number(one, 3) <= number(one, 1), file.name


@pytest.mark.parametrize(
    ("name", "segment", "position", "top"),
    [
        ("value_nearly_full_cents", "VA1", 1, MONEY),
        ("cash_count_nearly_full", "CA2", 2, CASH_COUNT),
    ],
)
def test_a_full_counter_goes_on_from_nought(weeks, name, segment, position, top):
    tag = next(tag for tag, case in CASES.items() if getattr(case, name))
    values = [taken_apart(file.data).number(segment, position) for file in weeks.written[tag]]
    falls = [(a, b) for a, b in itertools.pairwise(values) if b < a]
    assert len(falls) == 1
    before, after = falls[0]
    assert before > 0.99 * top
    assert after < 0.01 * top
