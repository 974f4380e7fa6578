"""When food machines stop and start again, event by event."""

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.food_code import (
    BadReading,
    Event,
    Failure,
    Hold,
    Limits,
    Reading,
    Service,
    State,
    limits_of,
    standing,
)

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def at(minutes: int) -> datetime:
    return NOON + timedelta(minutes=minutes)


def read(minutes: int, celsius: str) -> Reading:
    return Reading(f"r{minutes}", at(minutes), Decimal(celsius))


def cold(events: list[Event], minutes: int):
    return standing(events, hold=Hold.COLD, now=at(minutes))


def test_nothing_is_known_before_a_reading() -> None:
    found = cold([], 0)
    assert (found.state, found.since, found.may_sell) == (State.UNKNOWN, None, True)


def test_a_lock_names_its_reading_and_stays() -> None:
    found = cold([read(0, "4.0"), read(60, "6.5"), read(90, "4.0")], 120)
    assert (found.state, found.since, found.because) == (State.LOCKED, at(60), "r60")
    assert not found.may_sell
    assert [move.state for move in found.moves] == [State.SAFE, State.LOCKED]


@pytest.mark.parametrize(
    ("serviced", "restocked", "lifted"),
    [(True, True, True), (True, False, False), (False, True, False), (False, False, False)],
)
def test_only_service_and_new_food_lift_a_lock(
    serviced: bool, restocked: bool, lifted: bool
) -> None:
    done = Service("s", at(90), serviced=serviced, restocked=restocked)
    found = cold([read(60, "9.0"), done], 91)
    assert (found.state is State.RECOVERING) is lifted
    assert (found.state is State.LOCKED) is not lifted


def test_a_failed_lift_gives_no_new_time() -> None:
    half = Service("s", at(90), serviced=True)
    whole = Service("t", at(91), serviced=True, restocked=True)
    found = cold([read(60, "9.0"), half, whole, read(121, "9.0")], 121)
    assert found.state is State.RECOVERING
    assert cold([read(60, "9.0"), half, whole, read(122, "9.0")], 122).state is State.LOCKED


def test_a_power_failure_locks_without_a_reading() -> None:
    found = cold([read(0, "4.0"), Failure("f", at(10))], 11)
    assert (found.state, found.because) == (State.LOCKED, "f")
    assert "power failure" in found.why


def test_a_reading_is_due_when_the_time_has_passed() -> None:
    events: list[Event] = [Service("s", at(0))]
    early, late = cold(events, 30), cold(events, 31)
    assert (early.read_by, early.overdue) == (at(30), False)
    assert (late.state, late.overdue) == (State.RECOVERING, True)
    assert "take one now" in late.why
    assert cold([*events, read(25, "4.5")], 60).read_by is None


def test_what_comes_later_does_not_count_yet() -> None:
    assert cold([read(0, "4.0"), read(60, "9.0")], 59).state is State.SAFE


def test_states_differ_and_unknown_ones_follow_the_code() -> None:
    assert limits_of("ny").cold_c > limits_of("TX").cold_c
    assert limits_of("TX").citation.startswith("FDA Food Code")


@pytest.mark.parametrize(
    ("make", "field"),
    [
        (lambda: Limits(cold_c=Decimal(60)), "cold_c"),
        (lambda: Limits(hot_c=Decimal("NaN")), "hot_c"),
        (lambda: Limits(cold_minutes=-1), "cold_minutes"),
        (lambda: Reading("r", NOON, Decimal(500)), "readings.r.temperature_c"),
        (lambda: Reading("r", NOON.replace(tzinfo=None), Decimal(5)), "readings.r.at"),
        (lambda: standing([], hold=Hold.COLD, now=NOON.replace(tzinfo=None)), "now"),
    ],
)
def test_what_cannot_be_is_refused_by_field(make, field: str) -> None:
    with pytest.raises(BadReading) as refused:
        make()
    assert refused.value.field == field


events_of_a_day = st.lists(
    st.one_of(
        st.builds(
            lambda minutes, tenths: read(minutes, str(Decimal(tenths) / 10)),
            st.integers(0, 1440),
            st.integers(-50, 200),
        ),
        st.builds(
            lambda minutes, serviced, restocked: Service(
                f"s{minutes}", at(minutes), serviced, restocked
            ),
            st.integers(0, 1440),
            st.booleans(),
            st.booleans(),
        ),
        st.builds(lambda minutes: Failure(f"f{minutes}", at(minutes)), st.integers(0, 1440)),
    ),
    max_size=12,
    unique_by=lambda one: one.key,
)


@given(events=events_of_a_day, seed=st.integers(0, 100))
def test_the_order_of_telling_changes_nothing(events: list[Event], seed: int) -> None:
    shuffled = list(events)
    random.Random(seed).shuffle(shuffled)
    assert cold(shuffled, 1440) == cold(events, 1440)


@given(events=events_of_a_day)
def test_a_locked_machine_is_never_unlocked_by_a_reading(events: list[Event]) -> None:
    found = cold(events, 1440)
    for before, after in zip(found.moves, found.moves[1:], strict=False):
        if before.state is State.LOCKED:
            assert after.state is State.RECOVERING
            lifted = next(one for one in events if one.key == after.key)
            assert isinstance(lifted, Service)
            assert lifted.serviced
            assert lifted.restocked
