"""Every file's money adds up, by the cross-checks that real files were found to pass.

The identities are those of the open vending audit data standard's cash segments; counters go on
from nought past their last digit, so sums are compared by that many digits. Each check answers
None where the file does not send what it looks at.
"""

import itertools
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

import pytest

from demo.simulator.cases import CASES
from tests.demo.rawfile import RawFile, number, taken_apart

MONEY = 10**8
CASH_COUNT = 10**6


def same(stated: int, found: int, modulus: int = MONEY) -> bool:
    return (stated - found) % modulus == 0


def bills(raw: RawFile, old: int, new: int) -> int:
    """Bills in cents: the newer element, or the old one in whole currency units."""
    if len(raw.segments["CA3"][0]) > new:
        return raw.number("CA3", new)
    return raw.number("CA3", old) * 100


def worth(raw: RawFile, segment: str, position: int) -> int:
    return sum(number(one, 1) * number(one, position) for one in raw.segments[segment])


def cash_in_is_box_and_tubes_and_bills(raw: RawFile) -> bool | None:
    if not raw.has("CA3"):
        return None
    return all(
        same(
            raw.number("CA3", total),
            raw.number("CA3", box) + raw.number("CA3", tubes) + bills(raw, old, new),
        )
        for total, box, tubes, old, new in ((1, 2, 3, 4, 9), (5, 6, 7, 8, 10))
    )


def cash_in_is_the_sum_of_its_coins_and_bills(raw: RawFile) -> bool | None:
    if not raw.has("CA11"):
        return None
    # CA3's total, box and tubes against CA11's and the bills stacked of CA14, for each half.
    return all(
        same(raw.number("CA3", ca3), worth(raw, "CA11", ca11) + worth(raw, "CA14", stacked))
        and same(raw.number("CA3", ca3 + 1), worth(raw, "CA11", ca11 + 1))
        and same(raw.number("CA3", ca3 + 2), worth(raw, "CA11", ca11 + 2))
        for ca3, ca11, stacked in ((1, 2, 3), (5, 5, 5))
    )


def cash_out_and_fills_are_the_sums_of_their_coins(raw: RawFile) -> bool | None:
    if not raw.has("CA12"):
        return None
    out = all(same(raw.number("CA4", at), worth(raw, "CA12", at + 1)) for at in (1, 2, 3, 4))
    return out and all(same(raw.number("CA10", at), worth(raw, "CA13", at + 1)) for at in (1, 2))


def paid_vends_are_cash_and_cashless(raw: RawFile) -> bool | None:
    case = CASES.get(raw.segments["ID1"][0][6])
    if case is not None and (case.board_swapped or case.coin_unit_swapped):
        # Board and coin unit count apart, so one of them starts again without the other.
        return None
    return all(
        same(
            raw.number("VA1", position),
            raw.number("CA2", position) + raw.number("DA2", position),
            modulus,
        )
        for position, modulus in ((1, MONEY), (2, CASH_COUNT), (3, MONEY), (4, CASH_COUNT))
    )


def own(raw: RawFile, segment: str, position: int) -> int:
    return sum(number(parts[segment][0], position) for parts in raw.selections.values())


def paid_vends_are_the_sum_of_the_selections(raw: RawFile) -> bool | None:
    # PA2 is count then value; VA1 is value then count.
    return all(
        same(raw.number("VA1", total), own(raw, "PA2", part))
        for total, part in ((2, 1), (1, 2), (4, 3), (3, 4))
    )


def paid_vends_are_the_sum_of_the_payment_lines(raw: RawFile) -> bool | None:
    if not raw.has("PA7"):
        return None
    return all(
        same(raw.number("VA1", total), sum(number(one, part) for one in raw.segments["PA7"]))
        for total, part in ((2, 5), (1, 6), (4, 7), (3, 8))
    )


def other_vends_and_discounts_add_up_too(raw: RawFile) -> bool | None:
    vends = all(
        raw.number(machine, total) == own(raw, selection, part)
        for machine, selection in (("VA2", "PA3"), ("VA3", "PA4"))
        for total, part in ((2, 1), (1, 2), (4, 3), (3, 4))
    )
    return vends and all(
        raw.number("VA1", total) == own(raw, "PA2", part)
        for total, part in ((6, 5), (5, 6), (8, 7), (7, 8))
    )


def the_tubes_hold_what_went_in_and_did_not_come_out(raw: RawFile) -> bool | None:
    if not raw.has("CA15"):
        return None
    contents = raw.number("CA15", 1)
    tubes = sum(number(tube, 2) * number(tube, 3) for tube in raw.segments["CA17"])
    return contents == tubes and same(raw.number("CA3", 7) - raw.number("CA4", 3), contents)


def cash_that_stayed_is_sales_and_fills_and_overpayment(raw: RawFile) -> bool | None:
    if not raw.has("CA3"):
        return None
    # Total in, out, out by hand, sales, filled, overpaid: since reset, and ever.
    return all(
        same(
            raw.number("CA3", cash_in) - raw.number("CA4", out),
            raw.number("CA2", sales)
            + raw.number("CA10", filled)
            - raw.number("CA4", by_hand)
            + raw.number("CA8", overpaid),
        )
        for cash_in, out, by_hand, sales, filled, overpaid in (
            (1, 1, 2, 3, 1, 1),
            (5, 3, 4, 1, 2, 2),
        )
    )


def counters_keep_to_their_widths(raw: RawFile) -> bool | None:
    widths = {("VA1", 1): 8, ("VA1", 2): 8, ("VA1", 4): 6, ("CA2", 2): 6, ("VA2", 4): 4}
    return all(0 <= raw.number(*place) < 10**digits for place, digits in widths.items())


def no_selection_sold_more_since_a_reset_than_ever(raw: RawFile) -> bool | None:
    return all(
        number(parts["PA2"][0], 3) <= number(parts["PA2"][0], 1)
        for parts in raw.selections.values()
    )


CHECKS: tuple[Callable[[RawFile], bool | None], ...] = (
    cash_in_is_box_and_tubes_and_bills,
    cash_in_is_the_sum_of_its_coins_and_bills,
    cash_out_and_fills_are_the_sums_of_their_coins,
    paid_vends_are_cash_and_cashless,
    paid_vends_are_the_sum_of_the_selections,
    paid_vends_are_the_sum_of_the_payment_lines,
    other_vends_and_discounts_add_up_too,
    the_tubes_hold_what_went_in_and_did_not_come_out,
    cash_that_stayed_is_sales_and_fills_and_overpayment,
    counters_keep_to_their_widths,
    no_selection_sold_more_since_a_reset_than_ever,
)


@dataclass
class Found:
    checked: Counter[str] = field(default_factory=Counter)
    failed: dict[str, list[str]] = field(default_factory=dict)


@pytest.fixture(scope="module")
def found(weeks) -> Found:
    """All checks over all sound files, one file at a time so that few are held apart at once."""
    found = Found()
    for tag, files in weeks.written.items():
        case = CASES.get(tag)
        if case is not None and (case.damaged or case.truncated):
            continue
        for file in files:
            raw = taken_apart(file.data)
            for check in CHECKS:
                holds = check(raw)
                if holds is not None:
                    found.checked[check.__name__] += 1
                if holds is False:
                    found.failed.setdefault(check.__name__, []).append(file.name)
    return found


@pytest.mark.parametrize("check", [check.__name__ for check in CHECKS])
def test_in_every_file(found, check):
    assert found.failed.get(check) is None
    assert found.checked[check] > 2500


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
