"""Our tails against scipy.stats."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from rcdcheck.scrutiny import tails


@pytest.mark.parametrize("n", [1, 5, 50, 500, 100_000])
@pytest.mark.parametrize("share", [0.0, 0.01, 0.167, 0.5, 0.757, 0.999, 1.0])
def test_binomial_is_that_of_scipy(n: int, share: float) -> None:
    for k in {0, 1, n // 10, n // 2, round(n * share), round(n * share) + 3, n - 1, n, n + 1}:
        expected = stats.binom.sf(k - 1, n, share)
        assert tails.binomial(k, n, share) == pytest.approx(expected, rel=1e-8, abs=1e-300)


def test_binomial_takes_many_chances_at_once() -> None:
    chances = np.array([0.0, 1e-6, 0.09, 0.2, 0.9, 1.0])
    assert tails.binomial(12, 60, chances) == pytest.approx(stats.binom.sf(11, 60, chances), rel=1e-9)


def test_binomial_of_a_million_million_pairs() -> None:
    n, p = 10**12, 2 / 125
    k = int(n * p + 4 * (n * p * (1 - p)) ** 0.5)
    assert tails.binomial(k, n, p) == pytest.approx(stats.norm.sf(4), rel=0.02)


@pytest.mark.parametrize("mean", [1e-6, 0.17, 3.0, 72.0, 5e5])
def test_poisson_is_that_of_scipy(mean: float) -> None:
    for k in (0, 1, 2, 5, int(mean), int(mean + 5 * mean**0.5) + 1):
        assert tails.poisson(k, mean) == pytest.approx(stats.poisson.sf(k - 1, mean), rel=1e-7)


def test_what_never_happens_happens_at_least_no_times() -> None:
    assert [tails.poisson(k, 0.0) for k in (0, 1)] == [1.0, 0.0]


@pytest.mark.parametrize(("mean", "variance"), [(0.2, 0.25), (3.0, 9.0), (14.32, 40.0), (450.0, 2000.0)])
def test_negative_binomial_is_that_of_scipy(mean: float, variance: float) -> None:
    size, p = mean**2 / (variance - mean), mean / variance
    for k in (0, 1, 4, int(mean), int(mean + 4 * variance**0.5)):
        expected = stats.nbinom.sf(k - 1, size, p)
        assert tails.negative_binomial(k, mean, variance) == pytest.approx(expected, rel=1e-7)


def test_negative_binomial_without_more_variance_is_a_poisson() -> None:
    assert tails.negative_binomial(3, 1.0, 0.8) == pytest.approx(stats.poisson.sf(2, 1.0), rel=1e-12)


def test_hypergeometric_is_fishers_exact_test() -> None:
    for table in ([[8, 2], [1, 5]], [[3, 0], [0, 17]], [[0, 4], [6, 10]], [[1, 9], [11, 3]]):
        (a, b), (c, d) = table
        expected = stats.fisher_exact(table, alternative="greater").pvalue
        assert tails.hypergeometric(a, a + b + c + d, a + b, a + c) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("degrees", [1, 2, 7, 9, 10])
def test_chi_square_is_that_of_scipy(degrees: int) -> None:
    for x in (0.0, 0.5, 7.0, 24.3, 100.0):
        assert tails.chi_square(x, degrees) == pytest.approx(stats.chi2.sf(x, degrees), rel=1e-9)


def test_normal_is_that_of_scipy() -> None:
    assert [tails.normal(z) for z in (-3.0, 0.0, 4.5)] == pytest.approx(stats.norm.sf([-3.0, 0.0, 4.5]), rel=1e-12)


def test_more_marked_ones_than_there_are_or_are_drawn_never_come() -> None:
    for k, total, marked, drawn in ((6, 20, 5, 8), (9, 20, 12, 8), (2, 3, 1, 3)):
        assert tails.hypergeometric(k, total, marked, drawn) == stats.hypergeom.sf(k - 1, total, marked, drawn) == 0.0
