"""Does one trip time stand on more devices than their spread allows?

Why: where nobody measured, one plausible number is often typed for everything.
How: k of n devices show the most frequent value. Trip times of different devices differ by a standard deviation of
    at least 1.5 ms, s display steps, so at most a share π = erf(0.5/(√2·s)) can fall on one value:
    chance ≤ (n/k)·P(Binomial(n − 1, π) ≥ k − 1), times the number of columns. Where many readings are rounded, a round
    value counts in the coarser step; among 1,000 devices or more π is taken 1.3 times as large.
Source: binomial tail with a union bound over values; floor measured.
Not asked: fewer than 8 devices.
Innocent: new devices of one delivery may be very alike; a column of limits or nominal values read as readings.
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Column, Group, rounding, settings, tallied

QUESTION = "one_value"


def ask(group: Group) -> list[Answer]:
    """One answer for both trip time columns."""
    minimum = settings(QUESTION)["minimum"]
    columns = [c for c in (group.time0, group.time180) if len(c.known) >= minimum]
    if not columns:
        n = max(len(group.time0.known), len(group.time180.known))
        return [group.answer(QUESTION, n, why_not=too_few(n, minimum), limits=True)]
    chance, column, value, count = min((_modal(c) for c in columns), key=lambda found: found[0])
    n = len(column.known)
    expected = n * largest_share(column.step)
    return [
        group.answer(
            QUESTION,
            n,
            statistic=count,
            expectation=expected,
            chance=min(1.0, chance * len(columns)),
            sentence=f"{count} of {n} devices show the same trip time, {value * column.step:.4g} ms; devices "
            f"that differ as little as devices do would put at most about {expected:.1f} on one value",
            tests=np.flatnonzero(column.values == value),
            doubt="one-value",
            note="one-value-note",
        )
    ]


def largest_share(step: float) -> float:
    """Largest share of devices on one value, for a display step in ms."""
    spread = settings(QUESTION)["floor_ms"] / step
    return math.erf(0.5 / (math.sqrt(2) * spread))


def _share(step: float, n: int) -> float:
    """The same, with a guard where so many devices stand that a floor a little too high would decide alone."""
    set_ = settings(QUESTION)
    return min(1.0, largest_share(step) * (set_["guard"] if n >= set_["many"] else 1.0))


def _modal(column: Column) -> tuple[float, Column, float, int]:
    """The most frequent value, and how seldom one value would stand so often."""
    values, counts, _ = tallied(column.known)
    order = np.argsort(-counts, kind="stable")
    best = order[0]
    chance = _chance(column, float(values[best]), int(counts[best]))
    rounded = np.mod(values, rounding(column.known)) == 0
    other = next((k for k in order if rounded[k] != rounded[best]), None)
    if other is not None:  # of a rounded column the most frequent value of each class
        second = _chance(column, float(values[other]), int(counts[other]))
        best, chance = (best, 2 * chance) if chance <= second else (other, 2 * second)
    return min(1.0, chance), column, float(values[best]), int(counts[best])


def _chance(column: Column, value: float, k: int) -> float:
    """(n/k)·P(Binomial(n − 1, π) ≥ k − 1); a round value takes a coarser step where others are rounded."""
    n = len(column.known)
    multiple = rounding(column.known[column.known != value])
    step = column.step * (multiple if value % multiple == 0 else 1)
    return n / k * float(tails.binomial(k - 1, n - 1, _share(step, n)))
