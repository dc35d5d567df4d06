"""Does one set of readings stand on more devices than even new devices of one delivery would show?

Why: where nobody measured, one plausible set of numbers is often typed for everything.
How: k of n devices show the most frequent set of readings. Even new devices of one delivery differ a little: their
    trip times by a standard deviation of 0.5 ms or more, the second trip time by 0.45 ms where the first is given, the
    ramp current by 0.25 mA. With s steps for a column at most a share erf(0.5/(√2·s)) falls on one value, and π, the
    product over the columns, on one set; each column of trip times is asked by itself too. Chance ≤ (n/k)·P(Binomial(n
    − 1, π) ≥ k − 1), times the number of ways. Rounded values count in their coarser step. Where all other devices lie
    within one step of the set, devices of one make look the same: then it is a note.
Source: binomial tail with a union bound over sets; floors are common practice, measured.
Not asked: fewer than 8 devices with the same columns.
Innocent: electronic devices of one make at a coarse display; a column of limits or nominal values read as readings;
    one reading typed for many outlets of one device.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.numbering import row_numbers
from rcdcheck.scrutiny import tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.preparation import Column, Group, largest_share, rounding, settings
from rcdcheck.tables import Mask, Numbers

QUESTION = "one_value"
Ints = npt.NDArray[np.int64]


Used = list[tuple[str, Column]]  # floor of each column, and the column


def ask(group: Group) -> list[Answer]:
    """One answer: of the whole set of readings, or of one column of trip times."""
    minimum = settings(QUESTION)["minimum"]
    floors = (("floor_ms", group.time0), ("floor_phase_ms", group.time180), ("floor_ma", group.ramp))
    used = [(f, c) for f, c in floors if len(c.known) >= minimum and len(c.known) >= len(group) / 2]
    ways = [used, *([pair] for pair in used if pair[0] != "floor_ma")] if len(used) > 1 else [used]
    found = [way for columns in ways if (way := _modal(columns, minimum)) is not None]
    if not found or all(name == "floor_ma" for name, _ in used):
        n = max(len(group.time0.known), len(group.time180.known))
        return [group.answer(QUESTION, n, why_not=too_few(n, minimum), limits=True)]
    best = min(found, key=lambda way: way.chance)
    alike = best.alike or found[0].alike  # the whole set comes first
    n, k = best.n, len(best.rows)
    return [
        group.answer(
            QUESTION,
            n,
            statistic=k,
            expectation=n * best.share,
            chance=min(1.0, len(found) * best.chance),
            sentence=f"{k} of {n} devices show {best.shown}; even new devices of one delivery would put at most about "
            f"{n * best.share:.1f} on one such reading"
            + (". All others lie one step away, as electronic devices of one make do" if alike else ""),
            tests=best.rows,
            doubt="" if alike else "one-value",
            note="one-value-note",
        )
    ]


@dataclass(frozen=True, eq=False)
class Modal:
    """The most frequent set of readings of some columns: its rows, and how seldom one set stands so often."""

    n: int
    rows: Ints
    share: float
    chance: float
    shown: str
    alike: bool


def _modal(used: Used, minimum: int) -> Modal | None:
    rows = np.flatnonzero(~np.isnan(np.array([c.values for _, c in used])).any(axis=0)) if used else np.zeros(0, int)
    n = len(rows)
    if n < minimum:
        return None
    values = np.column_stack([c.values[rows] for _, c in used])
    number = row_numbers(values)
    counts = np.bincount(number)
    k = int(counts.max())
    often = np.flatnonzero(counts[number] == k)
    best = values[often[np.lexsort(values[often].T[::-1])[0]]]  # of sets that stand as often the smallest
    same = (values == best).all(axis=1)
    share = math.prod(_share(floor, column, value) for (floor, column), value in zip(used, best, strict=True))
    chance = n / k * float(tails.binomial(k - 1, n - 1, share))
    shown = " and ".join(
        f"{v * c.step:.4g} {'mA' if f == 'floor_ma' else 'ms'}" for (f, c), v in zip(used, best, strict=True)
    )
    return Modal(n, rows[same], share, chance, shown, _near(values, best, same))


def _near(values: Numbers, middle: Numbers, same: Mask) -> bool:
    """Whether there are other sets of readings, all of them within one step of this one in every column."""
    return bool(not same.all() and (np.abs(values - middle) <= 1).all())


def _share(floor: str, column: Column, value: float) -> float:
    """Largest share of devices on one value; a round value takes a coarser step where others are rounded."""
    others = column.known[column.known != value]
    multiple = rounding(others) if len(others) else 1
    step = column.step * (multiple if value % multiple == 0 else 1)
    return largest_share(step, settings(QUESTION)[floor])
