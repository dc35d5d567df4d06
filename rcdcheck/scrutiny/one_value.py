"""Does one trip time stand on more devices than their spread allows?

Why: where nobody measured, one plausible number is often typed for everything.
How: k of n devices show the most frequent value. Trip times of different devices differ by a standard deviation of
    at least 1.5 ms, s display steps, so at most a share π = erf(0.5/(√2·s)) can fall on one value:
    chance ≤ (n/k)·P(Binomial(n − 1, π) ≥ k − 1), times the number of columns.
Source: binomial tail with a union bound over values; floor measured.
Not asked: fewer than 8 devices.
Innocent: new devices of one delivery may be very alike; a column of limits or nominal values read as readings.
"""

from __future__ import annotations

import math

import numpy as np

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Column, Group, settings

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


def _modal(column: Column) -> tuple[float, Column, float, int]:
    values, counts = np.unique(column.known, return_counts=True)
    k, n = int(counts.max()), len(column.known)
    chance = n / k * float(tails.binomial(k - 1, n - 1, largest_share(column.step)))
    return min(1.0, chance), column, float(values[counts.argmax()]), k
