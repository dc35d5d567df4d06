"""Worked numbers of the statistics of the register, and other libraries beside them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from rcdcheck.register.statistics import crossing, sign_test, theil_sen, wilson


@pytest.mark.parametrize(
    ("x", "y", "slope", "low", "high"),
    [  # the first as the R package statpsych documents it; the second of Hollander and Wolfe, table 9.1 (from memory)
        (
            [67, 28, 30, 28, 52, 40, 25, 37, 44, 10, 14, 20, 28, 40, 51],
            [21, 4, 9, 12, 35, 18, 10, 22, 24, 1, 6, 8, 13, 16, 19],
            0.5,
            0.3243243,
            0.75,
        ),
        ([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03], -0.05625, None, None),
        ([0, 1, 2, 3, 4, 5], [22, 23, 24, 26, 27, 29], 1.4, 1.0, 2.0),  # own arithmetic
    ],
)
def test_slopes_worked_by_others(
    x: list[float], y: list[float], slope: float, low: float | None, high: float | None
) -> None:
    found = theil_sen(x, y)
    assert found.middle == pytest.approx(slope, abs=1e-7)
    if low is not None:
        assert (found.low, found.high) == pytest.approx((low, high), abs=1e-7)


@pytest.mark.parametrize("seed", range(20))
def test_slopes_equal_those_of_scipy(seed: int) -> None:
    random = np.random.default_rng(seed)
    n = int(random.integers(3, 15))
    x, y = np.arange(n) * 1.0, np.round(random.normal(25, 3, n), seed % 2)
    theirs = stats.theilslopes(y, x, 0.95)
    ours = theil_sen(x, y)
    assert ours == pytest.approx((theirs.slope, theirs.low_slope, theirs.high_slope))


def test_where_a_limit_would_be_reached() -> None:
    """22 to 29 over five years against 40: 13.2 years, between 10.0 and 17.5; own arithmetic."""
    x, y = [0, 1, 2, 3, 4, 5], [22, 23, 24, 26, 27, 29]
    middle, between = crossing(x, y, 40, theil_sen(x, y))
    assert (middle, *between) == pytest.approx((13.214286, 10.0, 17.5), abs=1e-6)
    never, between = crossing(x, y[::-1], 40, theil_sen(x, y[::-1]))
    assert never == math.inf and between == (math.inf, math.inf)


def test_five_visits_are_the_fewest_that_can_show_a_trend() -> None:
    """2/n! is the smallest chance of a strict order: 8 % of four, 1.7 % of five."""
    assert 2 / math.factorial(4) > 0.05 > 2 / math.factorial(5)
    assert theil_sen(range(5), [20, 21, 22.5, 23, 26]).low > 0


@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [  # Newcombe 1998, table I, method 3 (from memory)
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_intervals_of_shares(count: int, of: int, low: float, high: float) -> None:
    assert wilson(count, of) == pytest.approx((low, high), abs=5e-5)
    assert wilson(count, of) == pytest.approx(proportion_confint(count, of, 0.05, "wilson"), abs=1e-9)
    assert wilson(0, 0) == (0, 1)


@pytest.mark.parametrize(("up", "down"), [(6, 0), (9, 2), (5, 5), (0, 0), (1, 12)])
def test_the_sign_test_equals_the_binomial_test_of_scipy(up: int, down: int) -> None:
    values = np.array([1.0] * up + [-1.0] * down + [0.0])
    expected = stats.binomtest(up, up + down).pvalue if up + down else 1.0
    assert sign_test(values) == pytest.approx(expected)
