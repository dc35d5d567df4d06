"""Tails of distributions: how often chance alone gives a count this large or larger.

Each tail sums its terms upwards from the observed count in logarithms, since the ratio of neighbouring terms is
simple; nothing beyond the standard library and NumPy is loaded, and a count of pairs may reach 10¹². Tests hold
them to scipy.stats.
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.tables import Numbers

FAR = 9.0  # standard deviations and
ENOUGH = 60  # counts below the mean from which a tail is 1 to within 1e-15; also terms summed beyond the bulk


def binomial(k: int, n: int, p: Numbers | float) -> Numbers:
    """P(X ≥ k) of a binomial with n trials for each chance p in [0, 1], shape of p."""
    chances = np.atleast_1d(np.asarray(p, dtype=np.float64))
    tail = np.where((k <= 0) | ((chances >= 1) & (k <= n)), 1.0, 0.0)
    open_ = (chances > 0) & (chances < 1) if 0 < k <= n else np.zeros(len(chances), dtype=bool)
    mean, sd = n * chances, np.sqrt(n * chances * (1 - np.minimum(chances, 1)))
    tail[open_ & (k < mean - FAR * sd - ENOUGH)] = 1.0
    open_ &= k >= mean - FAR * sd - ENOUGH
    if open_.any():
        c = chances[open_]
        bulk = int(np.max(np.maximum(mean - k, 0) + 12 * sd, where=open_, initial=0))
        j = np.arange(k, min(n, k + bulk + ENOUGH), dtype=np.float64)
        first = _choose(n, k) + k * np.log(c) + (n - k) * np.log1p(-c)
        tail[open_] = _sum(first, (np.log(n - j) - np.log(j + 1))[:, None] + (np.log(c) - np.log1p(-c)))
    return tail if np.ndim(p) else tail[0]


def poisson(k: int, mean: float) -> float:
    """P(X ≥ k) of a Poisson count with that mean."""
    if k <= 0 or k < mean - FAR * math.sqrt(mean) - ENOUGH:
        return 1.0
    if mean <= 0:
        return 0.0
    j = np.arange(k, k + int(max(mean - k, 0) + 12 * math.sqrt(mean)) + ENOUGH, dtype=np.float64)
    first = k * math.log(mean) - mean - math.lgamma(k + 1)
    return float(_sum(np.array([first]), (math.log(mean) - np.log(j + 1))[:, None])[0])


def negative_binomial(k: int, mean: float, variance: float) -> float:
    """P(X ≥ k) of a negative binomial with that mean and a larger variance; of a Poisson where it is no larger."""
    if variance <= mean * (1 + 1e-9):
        return poisson(k, mean)
    if k <= 0 or k < mean - FAR * math.sqrt(variance) - ENOUGH:
        return 1.0
    size, p = mean**2 / (variance - mean), mean / variance
    if size > 1e9:  # a Poisson in all but name, where the terms below would only lose digits
        return poisson(k, mean)
    more = int(max(mean - k, 0) + 40 * math.sqrt(variance)) + 4 * ENOUGH
    j = np.arange(k, k + more, dtype=np.float64)
    first = math.lgamma(k + size) - math.lgamma(size) - math.lgamma(k + 1)
    first += size * math.log(p) + k * math.log1p(-p)
    return float(_sum(np.array([first]), (np.log(j + size) - np.log(j + 1) + math.log1p(-p))[:, None])[0])


def hypergeometric(k: int, total: int, marked: int, drawn: int) -> float:
    """P(X ≥ k) for the marked among those drawn without replacement: Fisher's exact test, one-sided."""
    lowest, highest = max(0, drawn + marked - total), min(marked, drawn)
    if k <= lowest:
        return 1.0
    if k > highest:
        return 0.0
    j = np.arange(k, highest, dtype=np.float64)
    first = _choose(marked, k) + _choose(total - marked, drawn - k) - _choose(total, drawn)
    up = np.log(marked - j) + np.log(drawn - j) - np.log(j + 1) - np.log(total - marked - drawn + j + 1)
    return float(_sum(np.array([first]), up[:, None])[0])


def chi_square(x: float, degrees: int) -> float:
    """P(X ≥ x) of chi-square, by the recurrence Q(a + 1, x) = Q(a, x) + xᵃe⁻ˣ/Γ(a + 1) from a = ½ or 1."""
    half = x / 2
    if half <= 0:
        return 1.0
    a, tail = (1.0, math.exp(-half)) if degrees % 2 == 0 else (0.5, math.erfc(math.sqrt(half)))
    while a < degrees / 2 - 0.25:
        tail += math.exp(a * math.log(half) - half - math.lgamma(a + 1))
        a += 1
    return min(1.0, tail)


def normal(z: float) -> float:
    """P(Z ≥ z) of the standard normal."""
    return 0.5 * math.erfc(z / math.sqrt(2))


def run(starts: float, p: float, length: float) -> float:
    """P(a run of that length begins at one of `starts` places), each further step of it having chance p.

    1 − exp(−N pᵗ): Erdős and Rényi; Arratia and Waterman. The sharper factor (1 − p) is left out on purpose.
    """
    return -math.expm1(-starts * min(p, 1.0) ** length)


def _choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)


def _sum(first: Numbers, log_ratios: Numbers) -> Numbers:
    """Σ of terms, the first given by its logarithm (shape (p,)), each next one by its ratio (terms, p); at most 1."""
    terms = np.concatenate([np.zeros((1, len(first))), np.cumsum(log_ratios, axis=0)])
    largest = terms.max(axis=0)
    total: Numbers = np.exp(first + largest + np.log(np.exp(terms - largest).sum(axis=0)))
    return np.minimum(1.0, total)
