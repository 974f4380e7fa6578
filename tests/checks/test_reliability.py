"""Reliability figures against published values."""

import pytest

from service.compute.reliability import alike, between_failures, share, typical


def test_two_failures_in_1600_hours() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1: factors for 90 % confidence and two
    # failures are 0.3177 and 5.6281, so 800 is anything from 254 to 4502.
    found = between_failures(2, 1600, confidence=0.90)
    assert found.days == 800
    assert found.least_days == pytest.approx(0.3177 * 800, abs=0.1)
    assert found.most_days == pytest.approx(5.6281 * 800, abs=0.1)
    assert (round(found.least_days), round(found.most_days or 0)) == (254, 4502)


def test_no_failure_has_a_lower_bound_only() -> None:
    # The same place: with no failure the bound is T / -ln(alpha); -ln(0.1) is 2.302585.
    found = between_failures(0, 1000, confidence=0.90)
    assert found.days is None
    assert found.most_days is None
    assert found.least_days == pytest.approx(1000 / 2.302585, rel=1e-6)


@pytest.mark.parametrize(
    ("failures", "least", "most"),
    # F. Garwood, Biometrika 28 (1936) 437: exact 95 % limits of a Poisson mean, as tabled widely.
    [(1, 0.0253, 5.572), (2, 0.242, 7.225), (5, 1.623, 11.668), (10, 4.795, 18.390)],
)
def test_limits_are_those_of_a_poisson_mean(failures: int, least: float, most: float) -> None:
    found = between_failures(failures, 1.0, confidence=0.95)
    assert found.most_days is not None
    assert 1 / found.most_days == pytest.approx(least, abs=0.001)
    assert 1 / found.least_days == pytest.approx(most, abs=0.001)


@pytest.mark.parametrize(
    ("hits", "cases", "least", "most"),
    # R. G. Newcombe, Statistics in Medicine 17 (1998) 857, table I, method 3 (Wilson), 95 %.
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_shares_have_wilsons_interval(hits: int, cases: int, least: float, most: float) -> None:
    found = share(hits, cases)
    assert (round(found.least, 4), round(found.most, 4)) == (least, most)


@pytest.mark.parametrize(
    ("cases", "rank", "holds"),
    # Printed in textbooks' tables of intervals for a population's median: the k-th smallest and
    # largest of n hold it with this chance. For 10 it is 1 - 2 (1 + 10) / 1024 by hand.
    [(5, 1, 0.938), (8, 2, 0.930), (10, 2, 0.979), (11, 3, 0.935), (13, 4, 0.908), (18, 6, 0.904)],
)
def test_the_middle_lies_between_two_of_the_values(cases: int, rank: int, holds: float) -> None:
    found = typical(range(1, cases + 1), confidence=0.90)
    assert (found.least, found.most) == (rank, cases + 1 - rank)
    # Tables round the half both ways.
    assert found.confidence == pytest.approx(holds, abs=0.0011)


@pytest.mark.parametrize(
    ("failures", "squares", "are_alike"),
    # By hand, five expected of each of four machines: the sum of (seen - 5)^2 / 5. Any table of
    # chi-square has 7.815 for 3 degrees of freedom at 5 %.
    [((2, 5, 5, 8), 3.6, True), ((1, 5, 5, 9), 6.4, True), ((0, 5, 5, 10), 10.0, False)],
)
def test_machines_are_alike_by_chi_square(
    failures: tuple[int, ...], squares: float, are_alike: bool
) -> None:
    found = alike(failures, [100.0] * 4)
    assert found.alike is are_alike
    assert (squares < 7.815) is are_alike
    # Printed upper tails for 3 degrees of freedom: 0.308 at 3.6, 0.094 at 6.4, 0.019 at 10.
    assert found.p_value == pytest.approx(
        {3.6: 0.308, 6.4: 0.0937, 10.0: 0.0186}[squares], abs=5e-4
    )
