"""The figures of a witness re-test against published tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from rcdcheck.witness.agreement import agreement, rank_correlation, repeatability
from rcdcheck.witness.sample_size import chance_to_find, hypergeometric, most_false, needed


@pytest.mark.parametrize(
    ("records", "false", "confidence", "sample"),
    [
        (1600, 16, 0.99, 399),  # published worked example of discovery sampling
        # tables of sample sizes to detect disease (Cannon and Roe 1982), from memory, recomputed exactly
        (100, 1, 0.95, 95), (100, 2, 0.95, 78), (100, 5, 0.95, 45), (100, 10, 0.95, 25),
        (500, 5, 0.95, 225), (500, 10, 0.95, 129), (500, 25, 0.95, 56), (500, 50, 0.95, 28),
        (1000, 10, 0.95, 258), (1000, 20, 0.95, 138), (1000, 50, 0.95, 57), (1000, 100, 0.95, 29),
    ],
)  # fmt: skip
def test_sample_sizes_are_those_of_the_tables(records: int, false: int, confidence: float, sample: int) -> None:
    assert needed(records, false, confidence) == sample
    assert chance_to_find(records, false, sample - 1) < confidence <= chance_to_find(records, false, sample) + 1e-12


def test_an_imperfect_test_finds_as_published() -> None:
    """Share 1 %, sensitivity 0.95, 300 of very many: 0.943 (published for an infinite population)."""
    assert chance_to_find(10**7, 10**5, 300, seen=0.95) == pytest.approx(0.943, abs=5e-4)


def test_chances_are_those_of_a_general_library() -> None:
    for k in range(6):
        assert hypergeometric(k, 100, 10, 25) == pytest.approx(float(stats.hypergeom.pmf(k, 100, 10, 25)), rel=1e-9)


def test_none_false_in_twenty_of_a_hundred_leaves_at_most_twelve() -> None:
    """Hypergeometric bound, computed with scipy: 12 is the last number that would hide with chance 0.05 or more."""
    assert most_false(100, 20, 0, 0.95) == 12
    assert stats.hypergeom.cdf(0, 100, 12, 20) >= 0.05 > stats.hypergeom.cdf(0, 100, 13, 20)


def test_sixty_without_a_false_one_follow_the_rule_of_three() -> None:
    """3/n (Hanley and Lippman-Hand 1983): 60 clean ones of very many leave 4.87 % exactly."""
    assert most_false(10**6, 60, 0, 0.95) / 10**6 == pytest.approx(0.0487, abs=1e-4)


LARGE = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
SMALL = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_limits_of_agreement_are_those_of_bland_and_altman() -> None:
    """Peak expiratory flow of 17 people, large and mini meter, first readings (Bland and Altman 1986).

    The paper takes 2 standard deviations for its limits where 1.96 is taken here, and rounds intermediate values.
    """
    found = agreement(np.array(LARGE, dtype=float) - np.array(SMALL, dtype=float))
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.deviation == pytest.approx(38.8, abs=0.05)
    assert (found.bias - 2 * found.deviation, found.bias + 2 * found.deviation) == pytest.approx(
        (-79.7, 75.5), abs=0.25
    )
    assert (found.low, found.high) == pytest.approx((-2.118 - 1.96 * 38.765, -2.118 + 1.96 * 38.765), abs=0.01)
    assert found.of_bias == pytest.approx((-22.0, 17.8), abs=0.25)
    assert found.low - found.of_low[0] == pytest.approx((114.3 - 45.1) / 2, abs=0.25)
    assert found.of_high[1] - found.high == pytest.approx((110.1 - 40.9) / 2, abs=0.25)


def test_rank_correlation_is_that_of_a_general_library() -> None:
    rho = rank_correlation(np.array(LARGE, dtype=float), np.array(SMALL, dtype=float))
    assert rho == pytest.approx(float(stats.spearmanr(LARGE, SMALL).statistic))


def test_repeatability_is_277_standard_deviations() -> None:
    """ISO 5725-6: r = 2.8·s, which is 1.96·√2·s."""
    assert repeatability(1.0) == pytest.approx(2.77, abs=0.005)
