"""Do readings stay the same, or climb by equal steps, down more rows than chance allows?

Why: dragging a cell downwards in a spreadsheet copies it, or continues a series.
How: in entry order, a run of t equal readings has chance 1 − exp(−(n − t + 1)·p₁ᵗ⁻¹), where p₁ is the larger of the
    share of equal pairs of rows, 1.3 times the share of neighbours that differ by 1 or 2 steps, over the 4 values that
    this is, and 0.7 where new devices may stand together: the rows beside the run lie within two steps of it, or its
    other readings (in whole milliseconds) within one step of each other without being one value. A run of t readings
    with one constant step other than zero has t − 2 second differences of zero: chance 1 − exp(−(n − t + 1)·p₂ᵗ⁻²),
    p₂ = 1.3·(second differences of 1 to 3 steps + 2)/(6(n − 2)). The smallest chance of the columns counts, times
    their number; ramp currents in whole mA, which like devices share, are left out of the first where there are trip
    times.
Source: Erdős and Rényi; Arratia and Waterman, for longest runs; guards measured.
Not asked: fewer than 8 readings, or a column that is sorted (whose runs are the sorting); of devices that
    a coarse display cannot tell apart.
Innocent: new devices of one delivery standing together at a coarse display; a sheet sorted by its readings in parts; a
    series of one device's repeats listed as devices.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Column, Group, Places, settings, tallied
from rcdcheck.tables import Mask, Numbers

QUESTION = "filled_down"
CONSTANT = {"doubt": "filled-down-constant", "note": "filled-down-constant-note"}
STEPS = {"doubt": "filled-down-steps", "note": "filled-down-steps-note"}
SORTED = "the rows are sorted by their readings, so that their order says nothing"


def ask(group: Group) -> list[Answer]:
    """One answer for constant runs and one for equal steps."""
    minimum = settings(QUESTION)["minimum"]
    long = [c for c in group.columns if len(c.known) >= minimum]
    usable = [c for c in long if not c.is_sorted]
    if not usable:
        n = max((len(c.known) for c in group.columns), default=0)
        why = SORTED if long else too_few(n, minimum)
        return [group.answer(QUESTION, n, why_not=why, limits=True)]
    alone = [c for c in usable if c is not group.ramp or c.step < settings(QUESTION)["coarse_ma"]]
    constant = min((_constant(group, c) for c in alone or usable), key=lambda found: found[0])
    steps = min((_steps(c) for c in usable), key=lambda found: found[0])
    return [
        _answer(group, constant, len(alone or usable), CONSTANT, "are the same"),
        _answer(group, steps, len(usable), STEPS, "climb or fall by the same step"),
    ]


Found = tuple[float, Column, int, int, float]  # chance, column, first position among known, length, rate


def _answer(group: Group, found: Found, columns: int, codes: dict[str, str], says: str) -> Answer:
    chance, column, start, length, expected = found
    rows = np.flatnonzero(~np.isnan(column.values))[start : start + length]
    name = {id(group.time0): "trip time at 0°", id(group.time180): "trip time at 180°"}.get(id(column), "ramp current")
    return group.answer(
        QUESTION,
        len(column.known),
        statistic=length,
        expectation=expected,
        chance=min(1.0, chance * columns),
        sentence=f"{length} readings of the {name} in a row {says}; in this many independent readings the longest such "
        f"run would be about {expected:.0f}",
        tests=rows,
        **codes,
    )


def _constant(group: Group, column: Column) -> Found:
    x = column.known
    n, guard = len(x), settings(QUESTION)["guard"]
    step = np.abs(np.diff(x))
    near = ((step >= 1) & (step <= 2)).mean() / 4
    rate = max(share_of_equal_pairs(x), guard * near)
    start, length = longest(step == 0)
    t = length + 1
    rate = max(rate, _around(x, start, t))
    if _alike(group, column, np.flatnonzero(~np.isnan(column.values))[start : start + t]):
        rate = max(rate, float(settings(QUESTION)["beside_rate"]))
    return tails.run(n - t + 1, rate, t - 1), column, start, t, 1 + usual(n, rate)


def _around(x: Numbers, start: int, t: int) -> float:
    """How often like devices that stand together may show one value, where the rows beside a run are such; else 0."""
    set_ = settings(QUESTION)
    beside = np.concatenate([x[max(0, start - set_["beside"]) : start], x[start + t : start + t + set_["beside"]]])
    near = np.abs(beside - x[start]) <= 2
    if len(beside) == 0 or near.mean() < set_["beside_near"]:
        return 0.0
    return max(float((beside == x[start]).mean()), float(set_["beside_rate"]))


def _alike(group: Group, column: Column, rows: Places) -> bool:
    """Whether most rows of a run lie within one step of their middle in the other columns, two of them beside it."""
    if not group.coarse or len(group.columns) < 2:
        return False
    others = np.column_stack([c.values[rows] for c in group.columns if c is not column])
    middle = np.sort(others, axis=0)[len(rows) // 2]  # a reading that stands there; NaN sorts last
    apart = np.abs(others - middle).max(axis=1, initial=0.0)
    return bool((apart <= 1).mean() >= settings(QUESTION)["alike"] and (apart == 1).sum() >= 2)


def _steps(column: Column) -> Found:
    x = column.known
    n, guard = len(x), settings(QUESTION)["guard"]
    bend = np.diff(x, 2)
    near = int(((np.abs(bend) >= 1) & (np.abs(bend) <= 3)).sum())
    rate = guard * (near + 2) / (6 * (n - 2))
    start, k = longest((bend == 0) & (np.diff(x)[1:] != 0))
    chance = tails.run(n - k - 1, rate, k) if k >= 2 else 1.0
    return chance, column, start, k + 2, 2 + usual(n, rate)


def share_of_equal_pairs(x: Numbers) -> float:
    """Share of all pairs of readings that are equal."""
    counts = tallied(x)[1]
    return float((counts * (counts - 1)).sum() / (len(x) * (len(x) - 1)))


def longest(holds: Mask) -> tuple[int, int]:
    """First position and length of the longest stretch of true values; length 0 where there is none."""
    if not holds.any():
        return 0, 0
    edges: npt.NDArray[np.int64] = np.flatnonzero(np.diff(np.concatenate([[0], holds.view(np.int8), [0]])))
    lengths = edges[1::2] - edges[::2]
    best = int(lengths.argmax())
    return int(edges[2 * best]), int(lengths[best])


def usual(n: int, rate: float) -> float:
    """Length that the longest run of further steps usually has: log of n to the base 1/rate."""
    return float(np.log(n) / -np.log(min(max(rate, 1e-9), 0.999)))
