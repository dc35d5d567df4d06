"""Does the same set of readings stand on several devices?

Why: a row that was copied from another device repeats its trip times and its ramp current together.
How: M₁ pairs of devices are equal in both trip times, M₂ in ramp current, C in all three, of P = n(n−1)/2 pairs.
    Shuffling the ramp currents against the trip times keeps heaping and lattices and gives C the mean M₁M₂/P; its
    variance stands in closed form below, its tail is Poisson, or negative binomial where the variance is larger.
    The local null keeps clusters of like devices: of B pairs within ±2 steps in every column at most 2 of 125 should
    be equal, the factor 2 covering the peak of the density. The larger of the two chances counts. Models with 20
    devices or more are compared within themselves.
Source: closed form derived from pairs of pairs, checked against brute force and shuffling in the tests; Simonsohn's
    number bunching (2019) shuffles likewise; both nulls measured, since neither alone is safe.
Not asked: fewer than 20 devices with all three readings. Where the phases differ by less than 1.25 steps, both
    trip times are one. Without a ramp column only where they differ by 5 steps or more.
Innocent: one device listed under two names; rows of an earlier export pasted for devices that were re-labelled; a
    template row kept by mistake.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.records import Codes, Mask, Numbers
from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Group, settings

QUESTION = "repeated_sets"
CODES = {"doubt": "repeated-sets", "note": "repeated-sets-note"}


def ask(group: Group) -> list[Answer]:
    """One answer."""
    set_ = settings(QUESTION)
    pairs = group.pairs
    with_ramp = pairs & ~np.isnan(group.ramp.values)
    ramp = bool(with_ramp.sum() >= set_["minimum"])
    rows = with_ramp if ramp else pairs
    n = int(rows.sum())
    if n < set_["minimum"]:
        why = too_few(n, set_["minimum"], "devices with both trip times")
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    spread = float((group.time0.values - group.time180.values)[rows].std(ddof=1))
    if not ramp and spread < set_["phase_spread_without_ramp"]:
        why = "no ramp current, and trip times too coarse or too alike to tell copies from chance"
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    if spread < set_["phase_spread"] and len(np.unique(group.stratum[rows])) == 1:
        why = "0° and 180° differ by hardly more than the last digit shown, and no model is named"
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    return [_answer(group, rows, ramp)]


def _answer(group: Group, rows: Mask, ramp: bool) -> Answer:
    columns = [group.time0, group.time180] + ([group.ramp] if ramp else [])
    values = np.column_stack([c.values[rows] for c in columns])
    stratum = strata(group.stratum[rows])
    times, sets = identities(values[:, :2], stratum), identities(values, stratum)
    repeats = pairs_of(np.bincount(sets))
    chance, expected = 1.0, math.nan
    near = near_pairs(values, stratum)
    cells = (2 * settings(QUESTION)["near"] + 1) ** len(columns)
    local = float(tails.binomial(repeats, near, settings(QUESTION)["peak"] / cells))
    if ramp:
        moments = shuffled(times, identities(values[:, 2:], stratum), stratum)
        expected = moments.mean
        chance = max(local, tails.negative_binomial(repeats, moments.mean, moments.variance))
    else:
        expected, chance = near * settings(QUESTION)["peak"] / cells, local
    counts = np.bincount(sets)
    what = "both trip times and the ramp current" if ramp else "both trip times"
    devices = int((counts[sets] > 1).sum())
    return group.answer(
        QUESTION,
        len(values),
        statistic=repeats,
        expectation=expected,
        chance=chance,
        sentence=f"{devices} devices share {what} with another device ({repeats} equal pairs); if the readings "
        f"were independent, about {expected:.2g} pairs would be equal",
        tests=np.flatnonzero(rows)[counts[sets] > 1],
        **CODES,
    )


def strata(models: Codes) -> Codes:
    """Number of the model of each row, all models with fewer than 20 rows being one."""
    _, number, counts = np.unique(models, return_inverse=True, return_counts=True)
    large = counts[number] >= settings(QUESTION)["stratum"]
    return np.where(large, number + 1, 0).astype(np.int32)


def identities(values: Numbers, stratum: Codes) -> npt.NDArray[np.int64]:
    """Equal numbers for rows that are equal and of one stratum, shape (n,)."""
    keys = stratum.astype(np.int64)
    for column in values.T:
        _, number = np.unique(column, return_inverse=True)
        _, keys = np.unique(keys * (number.max() + 1) + number, return_inverse=True)
    return keys.astype(np.int64)


def pairs_of(counts: npt.NDArray[np.int64]) -> int:
    """Pairs that can be formed inside groups of these sizes."""
    wide = counts.astype(np.float64)
    return int((wide * (wide - 1) / 2).sum())


@dataclass(frozen=True)
class Moments:
    """Mean and variance of the number of equal pairs under shuffling."""

    mean: float
    variance: float


def shuffled(times: npt.NDArray[np.int64], ramps: npt.NDArray[np.int64], stratum: Codes) -> Moments:
    """Moments of the pairs equal in both when `ramps` are shuffled against `times` within each stratum.

    E[C] = M₁M₂/P. Two equal pairs share a device or not: with A = Σ c(c−1)(c−2)/2 pairs of pairs that share one
    and T = n(n−1)(n−2)/2 of them in all,
    E[C(C−1)] = 2A₁A₂/T + 2(M₁(M₁−1)/2 − A₁)(M₂(M₂−1)/2 − A₂)/(P(P−1)/2 − T). Strata are independent.
    """
    mean = variance = 0.0
    sizes = np.bincount(stratum)
    for s in np.flatnonzero(sizes > 1):
        inside = stratum == s
        one = _moments(np.bincount(times[inside]), np.bincount(ramps[inside]), float(sizes[s]))
        mean, variance = mean + one.mean, variance + one.variance
    return Moments(mean, variance)


def _moments(c1: npt.NDArray[np.int64], c2: npt.NDArray[np.int64], n: float) -> Moments:
    sizes = [c[c > 1].astype(np.float64) for c in (c1, c2)]
    m1, m2 = (float((c * (c - 1) / 2).sum()) for c in sizes)
    a1, a2 = (float((c * (c - 1) * (c - 2) / 2).sum()) for c in sizes)
    pairs, sharing = n * (n - 1) / 2, n * (n - 1) * (n - 2) / 2
    apart = pairs * (pairs - 1) / 2 - sharing
    mean = m1 * m2 / pairs
    twice = 2 * a1 * a2 / sharing if sharing else 0.0
    if apart:
        twice += 2 * (m1 * (m1 - 1) / 2 - a1) * (m2 * (m2 - 1) / 2 - a2) / apart
    return Moments(mean, max(0.0, twice + mean - mean**2))


def near_pairs(values: Numbers, stratum: Codes) -> int:
    """Pairs of rows of one stratum within ±`near` steps in every column, equal ones included, without comparing all.

    Rows become single numbers in which the last column counts in ones, so that for each shift of the other columns
    the near rows are one stretch of the sorted numbers.
    """
    near = settings(QUESTION)["near"]
    low = values.min(axis=0)
    room = (values.max(axis=0) - low + 2 * near + 1).astype(np.int64)
    key = stratum.astype(np.int64)
    strides = np.ones(values.shape[1], dtype=np.int64)
    for j in range(values.shape[1]):
        key = key * room[j] + (values[:, j] - low[j]).astype(np.int64)
        strides[:j] *= room[j]
    cells, counts = np.unique(key, return_counts=True)
    until = np.concatenate([[0], np.cumsum(counts)])
    ordered = 0
    for shift in _shifts(strides[:-1], near):
        high = until[np.searchsorted(cells, cells + shift + near, side="right")]
        below = until[np.searchsorted(cells, cells + shift - near, side="left")]
        ordered += int((counts * (high - below)).sum())
    return (ordered - len(values)) // 2


def _shifts(strides: npt.NDArray[np.int64], near: int) -> list[int]:
    shifts = [0]
    for stride in strides:
        shifts = [s + int(stride) * d for s in shifts for d in range(-near, near + 1)]
    return shifts
