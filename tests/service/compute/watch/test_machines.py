"""Power, clocks, warmth, losses while empty, and what a machine reports of itself."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.compute.watch import BadEvidence, Kind, clock, events, lost, power, warm


class TestPower:
    def test_lost_again_and_again(self) -> None:
        judged = power.judge(power.PowerLosses.of(losses=[9, 2], days=[14, 14]))
        assert judged.found.tolist() == [True, False]
        told = judged.suspicion(0)
        assert told.kind is Kind.POWER
        assert told.said.startswith("Lost its power 9 times in 14 days, where 1 a week is the ")

    def test_with_others_at_the_site(self) -> None:
        judged = power.judge(
            power.PowerLosses.of(
                losses=[9, 9, 9], days=[14] * 3, site_losses=[8, 0, 0], site_machines=[1, 1, 0]
            )
        )
        assert judged.shared.tolist() == [True, False, False]
        assert "at the site lost theirs too" in judged.suspicion(0).said
        assert "at the site did not" in judged.suspicion(1).said
        assert "site" not in judged.suspicion(2).said

    def test_none_lost_in_no_time(self) -> None:
        assert power.judge(power.PowerLosses.of(losses=[0], days=[0])).p_value.tolist() == [1]


class TestClock:
    def test_right_within_its_limit(self) -> None:
        assert not clock.judge([0, 1, 2], [3, 4, 2]).found

    def test_files_that_waited_are_no_slow_clock(self) -> None:
        assert not clock.judge([0, 1, 2, 3], [-1, -300, -2, -600]).found

    def test_whole_hours(self) -> None:
        judged = clock.judge([0, 7, 14, 21], [60, 61, 59, 60])
        assert judged.way is clock.Way.WHOLE_HOURS
        assert judged.suspicion().said == (
            "The machine's clock is 60 min fast, by 4 reads; whole hours: another zone, or summer "
            "time not set."
        )

    def test_drifting(self) -> None:
        judged = clock.judge([0, 10, 20, 30], [-10, -30, -50, -70])
        assert judged.way is clock.Way.DRIFTS
        assert judged.a_day == pytest.approx(-2)
        assert judged.off_minutes == pytest.approx(-70)

    def test_begun_anew(self) -> None:
        judged = clock.judge([0, 1, 2], [-3e6, -3e6, -3e6])
        assert judged.way is clock.Way.LOST
        assert "2083 days slow" in judged.suspicion().said

    def test_plainly_off(self) -> None:
        assert clock.judge([0, 1, 2], [-35, -35, -36]).way is clock.Way.OFF

    def test_a_single_read_believes_only_a_clock_that_is_ahead(self) -> None:
        assert clock.judge([0], [40]).found
        assert not clock.judge([0], [-40]).found

    def test_set_right_since(self) -> None:
        assert not clock.judge(range(9), [60] * 6 + [0] * 3).found

    def test_files_that_wait_do_not_hide_a_drift(self) -> None:
        luck = np.random.default_rng(5)
        days = np.arange(40.0)
        waited = luck.exponential(90, 40) * (luck.random(40) < 0.6)
        judged = clock.judge(days.tolist(), (-1.5 * days - waited).tolist())
        assert judged.way is clock.Way.DRIFTS
        assert judged.a_day == pytest.approx(-1.5, abs=0.05)

    def test_no_read(self) -> None:
        assert not clock.judge([], []).found

    @given(st.floats(-5_000, 5_000), st.floats(-1_000, 1_000))
    def test_the_origin_of_days_changes_nothing(self, off: float, origin: float) -> None:
        days = [0.0, 3.0, 8.0]
        one = clock.judge(days, [off] * 3)
        other = clock.judge([day + origin for day in days], [off] * 3)
        assert one.way is other.way
        assert one.off_minutes == pytest.approx(other.off_minutes)

    def test_reads_out_of_order_are_refused(self) -> None:
        with pytest.raises(BadEvidence, match=r"days\.1"):
            clock.judge([3, 1], [0, 0])


class TestWarm:
    def test_too_warm_for_too_long(self) -> None:
        """Worked by hand: 4 to 8 °C in an hour crosses 5 °C after 15 min; 8 to 4 after 45."""
        judged = warm.judge([0, 60, 120, 180], [4, 8, 8, 4], limit_c=5)
        assert judged.longest_from == pytest.approx(15)
        assert judged.longest_minutes == pytest.approx(150)
        assert judged.found
        assert judged.suspicion().said == (
            "Above 5 °C for 2.5 h without a break, up to 8.0 °C; now 4.0 °C."
        )

    def test_still_warm(self) -> None:
        told = warm.judge([0, 60, 120], [6, 9, 11], limit_c=5).suspicion()
        assert told.said.endswith("still 11.0 °C.")
        assert told.numbers["still_warm"] is True

    def test_a_door_open_while_filling_is_let_be(self) -> None:
        judged = warm.judge([0, 30, 60, 90, 120], [3, 3, 9, 7, 4], visits=[45])
        assert judged.longest_minutes == 0 or not judged.found

    def test_what_was_in_a_long_gap_is_not_known(self) -> None:
        judged = warm.judge([0, 600], [9, 9], limit_c=5)
        assert judged.longest_minutes == 0

    def test_cold_all_along(self) -> None:
        judged = warm.judge([0, 60, 120], [3, 4, 3.5])
        assert (judged.found, judged.longest_from, judged.above_minutes) == (False, None, 0)

    def test_no_reading(self) -> None:
        assert not warm.judge([], []).found

    @given(st.lists(st.floats(-5, 20), min_size=2, max_size=12), st.floats(0, 15))
    def test_a_higher_limit_is_never_exceeded_for_longer(
        self, celsius: list[float], limit: float
    ) -> None:
        when = [30.0 * index for index in range(len(celsius))]
        low = warm.judge(when, celsius, limit_c=limit)
        high = warm.judge(when, celsius, limit_c=limit + 1)
        assert high.above_minutes <= low.above_minutes + 1e-6
        assert high.longest_minutes <= low.longest_minutes + 1e-6


class TestLost:
    def test_more_lost_than_the_limit(self) -> None:
        """Worked by hand: 2 a day, 14 days empty in 4 weeks, 80 a unit: 7 units, 560 a week."""
        judged = lost.judge(
            lost.Emptiness.of(
                shape=[200],
                exposure_days=[100],
                dry_exposure=[14],
                weeks=[4],
                margin_minor=[80],
            ),
            limit_minor=300,
        )
        assert judged.units_a_week.tolist() == [7]
        assert judged.minor_a_week.tolist() == [560]
        assert judged.found.tolist() == [True]
        assert judged.suspicion(0).said == (
            "Stood empty for 14.0 usual days in 4.0 weeks: about 7.0 units and 5.60 of margin lost "
            "a week; the limit is 3.00."
        )

    def test_a_rate_hardly_known_is_not_sure_enough(self) -> None:
        sure = [
            lost.judge(
                lost.Emptiness.of(
                    shape=[shape],
                    exposure_days=[shape / 2],
                    dry_exposure=[7],
                    weeks=[4],
                    margin_minor=[80],
                ),
                limit_minor=200,
            ).sure[0]
            for shape in (1, 10, 100, 1000)
        ]
        assert sure == sorted(sure)
        assert sure[-1] > 0.99

    @pytest.mark.parametrize(("dry", "margin"), [(0, 80), (14, 0), (14, -20)])
    def test_nothing_lost(self, dry: float, margin: float) -> None:
        judged = lost.judge(
            lost.Emptiness.of(
                shape=[20],
                exposure_days=[10],
                dry_exposure=[dry],
                weeks=[4],
                margin_minor=[margin],
            )
        )
        assert judged.sure.tolist() == [0]
        assert not judged.found[0]

    def test_the_chance_is_that_of_drawn_rates(self) -> None:
        luck = np.random.default_rng(8)
        rates = luck.gamma(6, 1 / 4, 200_000)
        judged = lost.judge(
            lost.Emptiness.of(
                shape=[6], exposure_days=[4], dry_exposure=[10], weeks=[3], margin_minor=[50]
            ),
            limit_minor=250,
        )
        assert judged.sure[0] == pytest.approx((rates * 10 / 3 * 50 > 250).mean(), abs=0.005)


class TestEvents:
    def test_in_words(self) -> None:
        told = events.suspicion("EJL", "Drop sensor fault", "food delivery", "soon", 12.3)
        assert told.said == (
            "The machine reports for 12 days: drop sensor fault (food delivery, code EJL)."
        )

    def test_what_is_urgent_stands_before_what_can_wait(self) -> None:
        strengths = [
            events.suspicion("X", "x", "x", urgency, 1).strength
            for urgency in ("now", "soon", "next_visit", "none")
        ]
        assert strengths == sorted(strengths, reverse=True)

    def test_an_urgency_that_is_none(self) -> None:
        with pytest.raises(BadEvidence, match="urgency"):
            events.suspicion("X", "x", "x", "whenever", 1)
