"""How many records to check so that false ones are found, and how many may be false where few were found. Exact.

A sample of n of N records, drawn at random without replacement, meets none of d false ones with the hypergeometric
chance C(N−d, n)/C(N, n) (discovery sampling).
"""

from __future__ import annotations

import math


def chance_to_find(records: int, false: int, sample: int, *, seen: float = 1.0) -> float:
    """Chance that at least one of `false` records is found; `seen` is the chance that a re-test exposes a false one.

    1 − Σₖ P(k false in the sample)·(1 − seen)ᵏ.
    """
    if false <= 0 or sample <= 0:
        return 0.0
    missed = math.fsum(
        hypergeometric(k, records, false, sample) * (1 - seen) ** k for k in range(min(false, sample) + 1)
    )
    return max(0.0, 1 - missed)


def needed(records: int, false: int, confidence: float, *, seen: float = 1.0) -> int:
    """Smallest sample that finds at least one of `false` with this confidence; all records where none is enough."""
    low, high = 1, records
    while low < high:  # the chance grows with the sample
        middle = (low + high) // 2
        if chance_to_find(records, false, middle, seen=seen) >= confidence - 1e-12:
            high = middle
        else:
            low = middle + 1
    return low


def most_false(records: int, sample: int, found: int, confidence: float) -> int:
    """Most false records with which so few in the sample would not be rarer than 1 − confidence: an upper bound."""
    low, high = found, records - (sample - found)
    while low < high:  # P(X ≤ found) falls as the number of false ones grows
        middle = (low + high + 1) // 2
        few = math.fsum(hypergeometric(k, records, middle, sample) for k in range(found + 1))
        if few >= 1 - confidence:
            low = middle
        else:
            high = middle - 1
    return low


def hypergeometric(k: int, records: int, false: int, sample: int) -> float:
    """P(exactly k false ones in the sample)."""
    if k < max(0, sample + false - records) or k > min(false, sample):
        return 0.0
    return math.exp(_choose(false, k) + _choose(records - false, sample - k) - _choose(records, sample))


def _choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
