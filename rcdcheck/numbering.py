"""Numbers that are equal where values are equal, found without sorting a million rows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.integer] | npt.NDArray[np.bool_]


def used_codes(codes: Whole) -> tuple[Ints, Ints]:
    """Distinct codes in order, and the place of each code among them, shape of codes; codes are small and count from 0.

    What `np.unique(codes, return_inverse=True)` answers, by looking up instead of sorting.
    """
    held = np.zeros(int(codes.max(initial=-1)) + 1, dtype=bool)
    held[codes] = True
    place = np.cumsum(held, dtype=np.int64) - 1
    return np.flatnonzero(held), place[codes]


def combined(*codes: Whole) -> Ints:
    """Numbers that are equal where all of these codes are, in order of their first place; codes count from 0."""
    number, size = np.zeros(len(codes[0]), dtype=np.int64), 1
    for code in codes:
        width = int(code.max(initial=0)) + 1
        if size * width >= 2**62:
            number, distinct = pd.factorize(number)
            size = len(distinct)
        number, size = number * width + code, size * width
    return pd.factorize(number)[0].astype(np.int64)


def first_places(numbers: Ints) -> Mask:
    """Where each number stands for the first time; numbers count from 0 in order of their first places."""
    result: Mask = np.diff(np.maximum.accumulate(numbers), prepend=-1) > 0
    return result


def repeated(numbers: Whole) -> Mask:
    """Where a number stands that stands elsewhere too; numbers are small and count from 0."""
    result: Mask = (np.bincount(numbers) > 1)[numbers]
    return result


def row_numbers(rows: npt.NDArray[np.float64]) -> Ints:
    """Numbers of rows (n, columns) that are equal where the rows are, in order of their first row; NaN equals NaN."""
    return combined(*(pd.factorize(column)[0] + 1 for column in rows.T))
