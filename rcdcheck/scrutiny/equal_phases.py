"""Are the trip times at 0° and 180° the same on more devices than their spread allows?

Why: a second reading that was not taken is easily filled with the first.
How: let d be the difference of the two readings in display steps h, and look at |d| ≤ K. For a two-sided
    geometric difference of standard deviation σ, q = exp(−√2·h/σ), the share of zeros inside the window is
    p₀(q) = (1 − √q)/(1 − √q·qᴷ). It is more peaked than a normal of equal spread, so the question is cautious. The
    verdict takes σ no larger than the noise of two readings of one device, 0.5 ms:
    chance = P(Binomial(M, p₀) ≥ zeros). A second answer, never more than a note, learns q from the differences that
    are not zero. Where 95 in 100 pairs are equal, an instrument that shows one time for both cannot be told from
    copying: a note that says so. Where many readings are round, round pairs are asked on their coarser step and the
    smaller chance is taken times two.
Source: binomial tail; the peak-corrected null was measured (see the calibration), since a flat one flags up to 64 %
    of honest sheets in whole milliseconds.
Not asked: fewer than 5 differences within 5 steps. The second answer is not asked of whole milliseconds, where
    devices that trip alike at both phases look the same as copies.
Innocent: electronic or delayed devices trip alike at both phases; an instrument that shows only the longer of the
    two, typed into both columns; an export that fills both columns from one reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Group, rounding, settings, tallied
from rcdcheck.tables import Mask, Numbers

QUESTION = "equal_phases"


def ask(group: Group) -> list[Answer]:
    """The answer that may become a doubt, and the one that learns the spread."""
    set_ = settings(QUESTION)
    pairs = group.pairs
    difference = (group.time0.values - group.time180.values)[pairs]
    near = np.abs(difference) <= set_["window"]
    if not pairs.any():
        return [group.answer(QUESTION, 0, why_not="no device has readings at both 0° and 180°")]
    apart = _apart(group, pairs, difference)
    if near.sum() < set_["minimum"]:
        why = too_few(int(near.sum()), set_["minimum"], f"pairs within {set_['window']} display steps")
        return [group.answer(QUESTION, int(pairs.sum()), why_not=why, limits=len(group) < 20), *apart]
    robust = _robust(group, pairs, difference)
    return [*apart, robust, _learned(group, pairs, difference) if robust.doubt else _one_for_both(group, difference)]


def _apart(group: Group, pairs: Mask, difference: Numbers) -> list[Answer]:
    """One difference other than zero on more devices than noise allows."""
    found = one_difference(difference, group.time0.step, settings(QUESTION)["floor_ms"])
    if found is None:
        return []
    return [
        group.answer(
            QUESTION,
            len(difference),
            statistic=found.count,
            expectation=found.expected,
            chance=found.chance,
            sentence=f"on {found.count} of {len(difference)} devices the trip time at 180° is that at 0° and "
            f"{-found.value * group.time0.step:+.4g} ms, always the same; even if the two phases differed by nothing "
            f"but reading noise around it, about {found.expected:.0f} would show that",
            tests=np.flatnonzero(pairs)[difference == found.value],
            doubt="phases-apart-by-one-value",
            note="phases-apart-by-one-value-note",
        )
    ]


@dataclass(frozen=True)
class OneDifference:
    """The most frequent difference other than zero, in steps: how often it stands, should stand, and how likely."""

    value: float
    count: int
    expected: float
    chance: float


def one_difference(difference: Numbers, step: float, floor: float) -> OneDifference | None:
    """Zeros around the most frequent difference, for a spread of `floor` (as `step` in ms); None where it is rare."""
    values, counts, _ = tallied(difference[difference != 0])
    if not len(counts) or counts.max() < settings(QUESTION)["apart_devices"]:
        return None
    value = float(values[counts.argmax()])
    around = difference - value
    within = int((np.abs(around) <= settings(QUESTION)["window"]).sum())
    chance = min(1.0, len(counts) * equal_chance(around, step, floor))
    return OneDifference(value, int(counts.max()), within * share_of_zeros(step, floor), chance)


def _robust(group: Group, pairs: Mask, difference: Numbers) -> Answer:
    floor = settings(QUESTION)["floor_ms"]
    chance = least([equal_chance(d, step, floor) for d, step in _classes(group, pairs)])
    zeros = int((difference == 0).sum())
    within = int((np.abs(difference) <= settings(QUESTION)["window"]).sum())
    expected = within * share_of_zeros(group.time0.step, floor)
    throughout = zeros >= settings(QUESTION)["all"] * len(difference)
    return group.answer(
        QUESTION,
        len(difference),
        statistic=zeros,
        expectation=expected,
        chance=chance,
        sentence=f"{zeros} of {len(difference)} devices show the same trip time at 0° and 180°; even if the two phases "
        f"differed by reading noise alone, about {expected:.0f} would"
        + (". An instrument that shows one time for both gives the same and cannot be told from it" * throughout),
        tests=np.flatnonzero(pairs)[difference == 0],
        doubt="" if throughout else "equal-phases",
        note="equal-phases-note",
    )


def _one_for_both(group: Group, difference: Numbers) -> Answer:
    """Where the two times are one and the same throughout, nothing in them tells whether the second was taken."""
    why = (
        "the times at 0° and 180° are equal throughout, as where the instrument shows one time for both: whether a "
        "second test was made cannot be told from them"
    )
    return group.answer(QUESTION, len(difference), why_not=why, limits=True)


def _learned(group: Group, pairs: Mask, difference: Numbers) -> Answer:
    if group.coarse:
        why = "readings are in whole milliseconds, where devices that trip alike at both phases look like copies"
        return group.answer(QUESTION, len(difference), why_not=why, limits=True)
    found = [learned_chance(d, step) for d, step in _classes(group, pairs)]
    expected = sum(e for _, e in found)
    zeros = int((difference == 0).sum())
    return group.answer(
        QUESTION,
        len(difference),
        statistic=zeros,
        expectation=expected,
        chance=least([chance for chance, _ in found]),
        sentence=f"{zeros} devices show the same trip time at 0° and 180°; judged by the pairs that differ a "
        f"little, about {expected:.1f} would",
        note="equal-phases-learned",
        tests=np.flatnonzero(pairs)[difference == 0],
    )


def least(chances: list[float]) -> float:
    """The smallest chance times their number, at most 1."""
    return min(1.0, len(chances) * min(chances))


def _classes(group: Group, pairs: Mask) -> list[tuple[Numbers, float]]:
    """Differences in steps and the step in ms: all pairs, or round ones apart from others where many are round."""
    first, second, step = group.time0.values[pairs], group.time180.values[pairs], group.time0.step
    multiple = rounding(first, second)
    if multiple == 1:
        return [(first - second, step)]
    both = (np.mod(first, multiple) == 0) & (np.mod(second, multiple) == 0)
    return [((first - second)[both] / multiple, multiple * step), ((first - second)[~both], step)]


def learned_chance(difference: Numbers, step: float) -> tuple[float, float]:
    """Chance of as many zeros, and their expectation, for a spread that the other differences show."""
    near = difference[np.abs(difference) <= settings(QUESTION)["window"]]
    q, weight = learned_rates(near, step)
    p = _zero_share(q)
    chance = (weight * tails.binomial(int((near == 0).sum()), len(near), p)).sum()
    return float(chance), float(len(near) * (weight * p).sum())


def share_of_zeros(step: float, floor: float) -> float:
    """Share of zeros inside the window for a spread of `floor`, both in one unit."""
    return float(_zero_share(np.array([math.exp(-math.sqrt(2) * step / floor)]))[0])


def equal_chance(difference: Numbers, step: float, floor: float) -> float:
    """P(Binomial(M, p₀) ≥ zeros) for differences in steps; 1 where none is within the window."""
    near = difference[np.abs(difference) <= settings(QUESTION)["window"]]
    return float(tails.binomial(int((near == 0).sum()), len(near), share_of_zeros(step, floor)))


def learned_rates(near: Numbers, step: float) -> tuple[Numbers, Numbers]:
    """Rates q on a grid and their weights, from the differences within the window that are not zero."""
    set_ = settings(QUESTION)
    lowest = math.exp(-math.sqrt(2) * step / set_["floor_ms"])
    q = np.linspace(lowest, 1, 64, endpoint=False) + (1 - lowest) / 128
    moved = np.abs(near[near != 0])
    n, total = len(moved), moved.sum()
    log_weight = (total - n) * np.log(q) + n * np.log1p(-q) - n * np.log1p(-(q ** set_["window"]))
    weight = np.exp(log_weight - log_weight.max())
    return q, weight / weight.sum()


def _zero_share(q: Numbers) -> Numbers:
    root = np.sqrt(q)
    return (1 - root) / (1 - root * q ** settings(QUESTION)["window"])
