"""Slopes that outliers do not move, and intervals of shares.

Theil (1950) and Sen (1968): the median of the slopes of all pairs; its interval from the variance of Kendall's S,
corrected for ties. Wilson (1927): interval of a share from a normal approximation of the score.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from rcdcheck.tables import Numbers


class Slope(NamedTuple):
    """Units per step of x; `low` and `high` bound the interval."""

    middle: float
    low: float
    high: float


class Interval(NamedTuple):
    """From, to."""

    low: float
    high: float


def theil_sen(x: npt.ArrayLike, y: npt.ArrayLike, level: float = 0.95) -> Slope:
    """Slope of y against x, shape (n,) each; NaN where no two x differ."""
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    first, second = np.triu_indices(len(xs), 1)
    run = xs[second] - xs[first]
    slopes = np.sort((ys[second] - ys[first])[run != 0] / run[run != 0])
    if not len(slopes):
        return Slope(math.nan, math.nan, math.nan)
    n, pairs = len(ys), len(slopes)
    variance = _weight(np.array([n])) - _weight(_ties(xs)) - _weight(_ties(ys))
    reach = NormalDist().inv_cdf((1 + level) / 2) * math.sqrt(max(0.0, variance))
    below = max(round((pairs - reach) / 2) - 1, 0)
    above = min(round((pairs + reach) / 2), pairs - 1)
    return Slope(float(np.median(slopes)), float(slopes[below]), float(slopes[above]))


def _ties(values: Numbers) -> npt.NDArray[np.int64]:
    counts = np.unique(values, return_counts=True)[1]
    return counts[counts > 1]


def _weight(k: npt.NDArray[np.int64]) -> float:
    return float((k * (k - 1) * (2 * k + 5)).sum() / 18)


def crossing(x: npt.ArrayLike, y: npt.ArrayLike, limit: float, slope: Slope) -> tuple[float, Interval]:
    """Where the line through the medians reaches a limit above it, and between what; infinite where it never does."""
    middle, gap = float(np.median(np.asarray(x))), limit - float(np.median(np.asarray(y)))

    def reached(rise: float) -> float:
        return middle + gap / rise if rise > 0 else math.inf

    return reached(slope.middle), Interval(reached(slope.high), reached(slope.low))


def sign_test(values: Numbers) -> float:
    """Chance of so many of one sign, or more, of either sign, where both are equally likely; zeros are left out."""
    up, down = int((values > 0).sum()), int((values < 0).sum())
    n = up + down
    tail = sum(math.comb(n, k) for k in range(min(up, down) + 1)) / 2**n if n else 1.0
    return min(1.0, 2 * tail)


def wilson(count: int, of: int, level: float = 0.95) -> Interval:
    """Interval of a share `count` of `of`; everything is possible of none."""
    if not of:
        return Interval(0.0, 1.0)
    z = NormalDist().inv_cdf((1 + level) / 2)
    share, spread = count / of, z * z / of
    half = z * math.sqrt(share * (1 - share) / of + spread / (4 * of))
    low, high = ((share + spread / 2 + sign * half) / (1 + spread) for sign in (-1, 1))
    return Interval(max(0.0, low), min(1.0, high))
