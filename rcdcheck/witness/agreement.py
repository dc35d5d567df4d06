"""How far two readings of one thing agree: bias, limits of agreement, repeatability (Bland and Altman 1986, 1999).

The differences d of n pairs have mean d̄ and standard deviation s. Limits of agreement: d̄ ± 1.96·s. Interval of the
bias: d̄ ± t·s/√n; of a limit: ± t·√(3s²/n), t with n − 1 degrees of freedom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from rcdcheck.tables import Numbers

LIMITS = 1.96


@dataclass(frozen=True)
class Agreement:
    """Of n pairs, in the unit of the readings; each interval as (low, high)."""

    n: int
    bias: float
    deviation: float
    of_bias: tuple[float, float]
    low: float
    of_low: tuple[float, float]
    high: float
    of_high: tuple[float, float]


def agreement(difference: Numbers, confidence: float = 0.95) -> Agreement:
    """Bias and limits of agreement with their intervals, from differences of shape (n,), n at least 2."""
    from scipy.special import stdtrit

    n = len(difference)
    bias, s = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stdtrit(n - 1, (1 + confidence) / 2))
    of_bias, of_limit = t * s / math.sqrt(n), t * math.sqrt(3 * s**2 / n)
    low, high = bias - LIMITS * s, bias + LIMITS * s
    return Agreement(
        n,
        bias,
        s,
        (bias - of_bias, bias + of_bias),
        low,
        (low - of_limit, low + of_limit),
        high,
        (high - of_limit, high + of_limit),
    )


def repeatability(deviation: float) -> float:
    """What two readings of one thing differ by at most in 95 of 100 pairs: 1.96·√2 standard deviations of one."""
    return LIMITS * math.sqrt(2) * deviation


def rank_correlation(first: Numbers, second: Numbers) -> float:
    """Spearman's ρ of readings of shape (n,) each, ties at their mean rank; NaN where one does not vary."""
    from rcdcheck.scrutiny.alternation import ranks

    a, b = (ranks(x) - (len(x) + 1) / 2 for x in (first, second))
    both = math.sqrt(float((a**2).sum() * (b**2).sum()))
    return float((a * b).sum() / both) if both else math.nan
