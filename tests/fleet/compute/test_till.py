"""What a bag should hold: the meter first, cash sales otherwise, and nothing that is not told."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from fleet.compute.till import Basis, Between, expected

MONDAY = datetime(2026, 3, 2, 12, tzinfo=UTC)
DAY = timedelta(days=1)


def told(*days: tuple[str | None, str | None], starts: datetime = MONDAY) -> list[Between]:
    """One interval a day."""
    return [
        Between(
            starts + n * DAY,
            starts + (n + 1) * DAY,
            None if boxed is None else Decimal(boxed),
            None if sold is None else Decimal(sold),
        )
        for n, (boxed, sold) in enumerate(days)
    ]


def test_the_meter_between_two_visits_with_reads() -> None:
    found = expected(told(("10", "12"), ("20.50", "22")), MONDAY, MONDAY + 2 * DAY)
    assert (found.amount, found.basis, found.exact) == (Decimal("30.50"), Basis.METER, True)


def test_a_seal_near_a_read_is_of_its_visit() -> None:
    late = timedelta(minutes=25)
    found = expected(told(("10", None), ("20", None)), MONDAY + late, MONDAY + DAY - late)
    assert (found.amount, found.exact) == (Decimal(10), True)
    assert (found.since, found.until) == (MONDAY, MONDAY + DAY)


def test_without_a_read_at_the_visit_time_shares_and_it_says_so() -> None:
    found = expected(told(("10", None), ("20", None)), MONDAY, MONDAY + 1.5 * DAY)
    assert (found.amount, found.exact) == (Decimal(20), False)
    assert "shared by time" in found.said


def test_sales_stand_in_for_a_meter_that_does_not_tell_and_allow_for_change_put_in() -> None:
    days = told(("10", "12"), (None, "22"))
    found = expected(days, MONDAY, MONDAY + 2 * DAY, put_in_tubes=Decimal("5.25"))
    assert (found.amount, found.basis) == (Decimal("39.25"), Basis.SALES)
    assert "5.25 of change put into the tubes" in found.said
    by_meter = expected(days[:1], MONDAY, MONDAY + DAY, put_in_tubes=Decimal("5.25"))
    assert by_meter.amount == 10, "the meter itself says what went to the box"


def test_what_is_not_told_is_not_guessed() -> None:
    days = told(("10", "12"), ("20", "22"))
    gap = [days[0], *told(("5", "5"), starts=MONDAY + 2 * DAY)]
    cases = {
        "no bag of this machine was sealed before": (days, None, MONDAY + DAY),
        "at the same visit": (days, MONDAY, MONDAY + timedelta(hours=1)),
        "no reads tell": ([], MONDAY, MONDAY + DAY),
        "a part of the time": (days, MONDAY - DAY, MONDAY + DAY),
        "between two reads": (gap, MONDAY, MONDAY + 3 * DAY),
        "neither of the cash box nor": (told((None, None)), MONDAY, MONDAY + DAY),
    }
    for said, (rows, since, until) in cases.items():
        found = expected(rows, since, until)
        assert (found.amount, found.basis) == (None, Basis.NONE), said
        assert said in found.said


@given(
    st.lists(st.integers(0, 10_000), min_size=2, max_size=8),
    st.data(),
)
def test_bags_in_between_share_the_whole(minor: list[int], data: st.DataObject) -> None:
    """Wherever a bag is sealed, both bags together should hold what one would have held."""
    days = told(*((f"{one / 100:.2f}", None) for one in minor))
    end = MONDAY + len(minor) * DAY
    at = MONDAY + data.draw(st.integers(3 * 60, len(minor) * 24 * 60 - 3 * 60)) * timedelta(
        minutes=1
    )
    first, second = expected(days, MONDAY, at), expected(days, at, end)
    whole = expected(days, MONDAY, end)
    assert first.amount is not None
    assert second.amount is not None
    assert whole.amount is not None
    # Each is rounded to the cent by itself.
    assert abs(first.amount + second.amount - whole.amount) <= Decimal("0.01")


def test_what_sharing_by_time_may_be_off_by() -> None:
    days = told(("10", None), ("40", None))
    assert expected(days, MONDAY, MONDAY + 2 * DAY).spread == 0
    # By hand, half of 40: sqrt(40 * 2 * 1/4 + (4 * 1/4 * 0.15 * 40)^2) = sqrt(20 + 36) = 7.4833.
    assert expected(days, MONDAY, MONDAY + 1.5 * DAY).spread == Decimal("7.48")
    late = expected(days, MONDAY, MONDAY + 1.9 * DAY)
    assert 0 < late.spread < Decimal("7.48"), "less is in doubt near a read"


@given(st.lists(st.integers(0, 100_00), min_size=1, max_size=5), st.integers(1, 99))
def test_two_halves_of_one_interval_are_as_much_in_doubt(cents: list[int], percent: int) -> None:
    days = told(*((f"{cent / 100:.2f}", None) for cent in cents))
    last = MONDAY + (len(days) - 1) * DAY
    cut = last + DAY * percent / 100
    if cut - MONDAY <= timedelta(hours=2) or last + DAY - cut <= timedelta(hours=2):
        return
    near = timedelta(0)
    before = expected(days[-1:], last, cut, near=near)
    after = expected(days[-1:], cut, last + DAY, near=near)
    assert abs(before.spread - after.spread) <= Decimal("0.01")
