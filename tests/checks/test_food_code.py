"""Timings of food kept cold or hot, against FDA Food Code 4-204.111 and two states' texts."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from service.compute.food_code import (
    Event,
    Hold,
    Reading,
    Service,
    State,
    degrees,
    limits_of,
    standing,
)

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def fahrenheit(value: str) -> Decimal:
    return (Decimal(value) - 32) / Decimal("1.8")


def after(minutes: int, degrees_f: str) -> Reading:
    return Reading(f"r{minutes}", NOON + timedelta(minutes=minutes), fahrenheit(degrees_f))


def state(events: list[Event], hold: Hold, minutes: int, of: str = "WA") -> State:
    now = NOON + timedelta(minutes=minutes)
    return standing(events, hold=hold, now=now, limits=limits_of(of)).state


FILLED = Service("s", NOON)


@pytest.mark.parametrize(
    ("minutes", "degrees_f", "hold", "locked"),
    # FDA Food Code 4-204.111(B): after filling or service cold air may be above 41 °F (5 °C) for 30
    # minutes, hot air below 135 °F (57 °C) for 120 minutes.
    [
        (29, "44", Hold.COLD, False),
        (30, "44", Hold.COLD, False),
        (31, "44", Hold.COLD, True),
        (119, "130", Hold.HOT, False),
        (120, "130", Hold.HOT, False),
        (121, "130", Hold.HOT, True),
        (300, "41", Hold.COLD, False),
        (300, "135", Hold.HOT, False),
    ],
)
def test_time_allowed_after_filling(minutes: int, degrees_f: str, hold: Hold, locked: bool) -> None:
    found = state([FILLED, after(minutes, degrees_f)], hold, minutes)
    assert (found is State.LOCKED) is locked


def test_no_time_is_allowed_without_filling_or_service() -> None:
    # The same section: only immediately after filling, service or restocking.
    assert state([after(5, "44")], Hold.COLD, 5) is State.LOCKED


@pytest.mark.parametrize(
    ("of", "minutes", "degrees_f", "hold", "locked"),
    # 10 NYCRR 14-5.40: 45 and 140 °F, 30 minutes. Minn. Rules 4626.0615 (text of 2014): 45 °F for
    # 30 minutes, 140 °F for 120 minutes.
    [
        ("NY", 100, "44.9", Hold.COLD, False),
        ("NY", 31, "46", Hold.COLD, True),
        ("NY", 31, "138", Hold.HOT, True),
        ("MN", 100, "44.9", Hold.COLD, False),
        ("MN", 31, "46", Hold.COLD, True),
        ("MN", 119, "138", Hold.HOT, False),
        ("MN", 121, "138", Hold.HOT, True),
    ],
)
def test_states_have_limits_of_their_own(
    of: str, minutes: int, degrees_f: str, hold: Hold, locked: bool
) -> None:
    found = state([FILLED, after(minutes, degrees_f)], hold, minutes, of)
    assert (found is State.LOCKED) is locked


def test_both_scales_are_said() -> None:
    # FDA Food Code 4-204.111 gives 41 °F with 5 °C and 135 °F with 57 °C.
    assert degrees(Decimal("5.0")) == "5.0 °C (41.0 °F)"
    assert degrees(Decimal("57.2")) == "57.2 °C (135.0 °F)"
