"""Does the same set of readings stand on several devices?

Why: a row that was copied from another device repeats its trip times and its ramp current together.
How: M₁ pairs of devices are equal in both trip times, M₂ in ramp current, C in all three, of P = n(n−1)/2 pairs.
    Shuffling the ramp currents against the trip times keeps heaping and lattices and gives C the mean M₁M₂/P; its
    variance stands in closed form below, its tail is Poisson, or negative binomial where the variance is larger. The
    local null keeps clusters of like devices: of B pairs within ±2 steps in every column at most 2 of 125 should be
    equal, the factor 2 covering the peak of the density; among 1,000 devices or more also at most 1.3 times as many as
    in each of the neighbouring cells. Rounded readings count in their coarser step. The largest chance counts. Where
    pairs thin out from step to step, as those of one model do at a coarse display, equal pairs may be as many more
    again. Models with 20 devices or more are compared within themselves. (Where shuffling alone gives 0.05 or more,
    that is the chance.) At a coarse display four rows or more that follow one another alike, not all equal, count once.
Source: closed form derived from pairs of pairs, checked against brute force and shuffling in the tests; Simonsohn's
    number bunching (2019) shuffles likewise; both nulls measured, since neither alone is safe.
Not asked: fewer than 20 devices with all three readings; of devices that a coarse display cannot tell apart. Where the
    phases differ by less than 1.25 steps and no model is named; without a ramp column where by less than 5 steps.
Innocent: one device listed under two names; outlets of one device with identifiers of their own; new devices of one
    delivery; rows of an earlier export pasted for devices that were re-labelled; a template row kept by mistake.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rcdcheck.scrutiny import outlets, tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.cells import Ints, Keys, near_rows
from rcdcheck.scrutiny.preparation import Group, rounding, settings, strata
from rcdcheck.tables import Codes, Mask, Numbers

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
        why = "0° and 180° lie apart by nearly the same on all devices, to the last digit shown, and no model is named"
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    once = outlets.standing_together(group)
    rows = once.pairs & ~np.isnan(once.ramp.values) if ramp else once.pairs
    return [_answer(once, rows, ramp)]


def _answer(group: Group, rows: Mask, ramp: bool) -> Answer:
    columns = [group.time0, group.time180] + ([group.ramp] if ramp else [])
    values, stratum = np.column_stack([c.values[rows] for c in columns]), strata(group.stratum[rows])
    keys = Keys.of(values, stratum)
    _, number, counts = np.unique(keys.key, return_inverse=True, return_counts=True)
    repeats = int(_pairs(counts).sum())
    if ramp:
        moments = shuffled(keys)
        chance, expected = tails.negative_binomial(repeats, moments.mean, moments.variance), moments.mean
    if not ramp or chance < 0.05:  # the costly null is asked only where shuffling makes the repeats stand out
        local, near = _local(values, stratum, repeats)
        chance, expected = (max(chance, local), expected) if ramp else (local, near)
    what = "both trip times and the ramp current" if ramp else "both trip times"
    shared = counts[number] > 1
    return group.answer(
        QUESTION,
        len(values),
        statistic=repeats,
        expectation=expected,
        chance=chance,
        sentence=f"{shared.sum()} devices share {what} with another device ({repeats} equal pairs); if the readings "
        f"were independent, about {expected:.2g} pairs would be equal",
        tests=np.flatnonzero(rows)[shared],
        **CODES,
    )


def _local(values: Numbers, stratum: Codes, repeats: int) -> tuple[float, float]:
    """Chance and expectation of the repeats among near pairs; among many rows among neighbouring pairs too."""
    set_ = settings(QUESTION)
    keys = Keys.of(*rounding_apart(values, stratum))
    share = set_["peak"] / (2 * set_["near"] + 1) ** len(keys.room)
    near = near_pairs(keys)
    chance = float(tails.binomial(repeats, near, share))
    if len(values) >= set_["many"]:
        beside, guard = neighbouring_pairs(keys), set_["guard"]
        equal = guard / (guard + 2 * len(keys.room))
        chance = max(chance, float(tails.binomial(repeats, repeats + beside, equal)))
    return max(chance, _thinning(keys, repeats)), near * share


def _thinning(keys: Keys, repeats: int) -> float:
    """Chance of the repeats where like devices crowd together at a coarse display; 0 where they do not.

    From pairs two columns apart to pairs one column apart they grow r-fold for each cell; the step from there to
    equal pairs may be as large, times a guard. Devices crowd where many rows lie near one of them without being equal
    to it, and either r is large or they are very many.
    """
    set_, k = settings(QUESTION), len(keys.room)
    one, two = neighbouring_pairs(keys), neighbours_in_two(keys)
    cells, counts = np.unique(keys.key, return_counts=True)
    near = near_rows(cells, counts, keys.room, set_["near"], cells)
    crowd = float((near - counts).max() / len(keys.key))
    if k < 2 or two < set_["tight_pairs"] or crowd < set_["tight_share"]:
        return 0.0
    growth = (one / (2 * k)) / (two / (2 * k * (k - 1)))
    if growth < (set_["thinning"] if crowd < set_["crowd"] else set_["thinning_of_crowd"]):
        return 0.0
    weight = set_["tight_guard"] * max(growth, set_["thinning"])
    return float(tails.binomial(repeats, repeats + one, weight / (weight + 2 * k)))


def rounding_apart(values: Numbers, stratum: Codes) -> tuple[Numbers, Codes]:
    """Values and strata in which rows with the same columns rounded stand together, rounded columns in coarse steps."""
    values, stratum = values.copy(), stratum.astype(np.int32)
    for column in values.T:
        multiple = rounding(column)
        is_round = np.mod(column, multiple) == 0
        column[is_round] /= multiple
        stratum = 2 * stratum + is_round.astype(np.int32)
    return values, stratum


def _pairs(counts: Ints) -> Numbers:
    """Pairs inside groups of these sizes, shape of counts."""
    wide = counts.astype(np.float64)
    return wide * (wide - 1) / 2


@dataclass(frozen=True)
class Moments:
    """Mean and variance of the number of equal pairs under shuffling."""

    mean: float
    variance: float


def shuffled(keys: Keys) -> Moments:
    """Moments of the pairs equal in all columns when the last is shuffled against the others within each stratum.

    E[C] = M₁M₂/P. Two equal pairs share a device or not: with A = Σ c(c−1)(c−2)/2 pairs of pairs that share one
    and T = n(n−1)(n−2)/2 of them in all,
    E[C(C−1)] = 2A₁A₂/T + 2(M₁(M₁−1)/2 − A₁)(M₂(M₂−1)/2 − A₂)/(P(P−1)/2 − T). Strata are independent.
    """
    n = np.bincount(keys.key // math.prod(keys.room)).astype(np.float64)
    m1, a1 = _equal(keys.without_last(), math.prod(keys.room[:-1]), len(n))
    m2, a2 = _equal(keys.of_last(), keys.room[-1], len(n))
    pairs, sharing = n * (n - 1) / 2, n * (n - 1) * (n - 2) / 2
    apart = pairs * (pairs - 1) / 2 - sharing
    mean = m1 * m2 / np.maximum(pairs, 1)
    twice = 2 * a1 * a2 / np.maximum(sharing, 1)
    twice += 2 * (m1 * (m1 - 1) / 2 - a1) * (m2 * (m2 - 1) / 2 - a2) / np.maximum(apart, 1)
    return Moments(float(mean.sum()), float(np.maximum(twice + mean - mean**2, 0).sum()))


def _equal(key: Ints, room: int, strata_: int) -> tuple[Numbers, Numbers]:
    """Equal pairs, and pairs of those that share a row, of each stratum, shape (strata,)."""
    cells, counts = np.unique(key, return_counts=True)
    pairs = _pairs(counts)
    stratum = cells // room
    equal, sharing = np.zeros(strata_), np.zeros(strata_)
    np.add.at(equal, stratum, pairs)
    np.add.at(sharing, stratum, pairs * (counts - 2))
    return equal, sharing


def near_pairs(keys: Keys) -> int:
    """Pairs of rows of one stratum within ±`near` steps in every column, equal ones included."""
    cells, counts = np.unique(keys.key, return_counts=True)
    near = near_rows(cells, counts, keys.room, settings(QUESTION)["near"], cells)
    return (int((counts * near).sum()) - len(keys.key)) // 2


def neighbouring_pairs(keys: Keys) -> int:
    """Pairs of rows of one stratum that differ by one step in one column and in no other."""
    cells, counts = np.unique(keys.key, return_counts=True)
    pairs = 0
    for j in range(len(keys.room)):
        place = np.searchsorted(cells, cells + math.prod(keys.room[j + 1 :]))
        place = np.minimum(place, len(cells) - 1)
        beside = cells[place] == cells + math.prod(keys.room[j + 1 :])
        pairs += int((counts[beside] * counts[place[beside]]).sum())
    return pairs


def neighbours_in_two(keys: Keys) -> int:
    """Pairs of rows of one stratum that differ by one step in two columns and in no other."""
    cells, counts = np.unique(keys.key, return_counts=True)
    stride = [math.prod(keys.room[j + 1 :]) for j in range(len(keys.room))]
    pairs = 0
    for i in range(len(stride)):
        for j in range(i + 1, len(stride)):
            for shift in (stride[i] + stride[j], stride[i] - stride[j]):
                place = np.minimum(np.searchsorted(cells, cells + shift), len(cells) - 1)
                beside = cells[place] == cells + shift
                pairs += int((counts[beside] * counts[place[beside]]).sum())
    return pairs
