"""Numbers that are equal where values are equal, found without sorting a million rows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

Ints = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Whole = npt.NDArray[np.integer] | npt.NDArray[np.bool_]
WIDE = 8  # times as many places as codes, up to which looking up is worth its room


def distinct_codes(codes: Whole) -> Ints:
    """Distinct codes in order; codes are small and count from 0."""
    return np.flatnonzero(_held(codes))


def used_codes(codes: Whole) -> tuple[Ints, Ints]:
    """Distinct codes in order, and the place of each code among them, shape of codes; codes are small and count from 0.

    What `np.unique(codes, return_inverse=True)` answers, by looking up instead of sorting.
    """
    held = _held(codes)
    place = np.cumsum(held, dtype=np.int64) - 1
    return np.flatnonzero(held), place[codes]


def _held(codes: Whole) -> Mask:
    held = np.zeros(int(codes.max(initial=-1)) + 1, dtype=bool)
    held[codes] = True
    return held


def combined(*codes: Whole) -> Ints:
    """Numbers that are equal where all of these codes are, in order of their first place; codes count from 0."""
    number, size = np.zeros(len(codes[0]), dtype=np.int64), 1
    for code in codes:
        width = int(code.max(initial=0)) + 1
        if size * width >= 2**62:
            number, distinct = pd.factorize(number)
            size = len(distinct)
        number, size = number * width + code, size * width
    if size > WIDE * len(number):
        return pd.factorize(number)[0].astype(np.int64)
    first = np.full(size, len(number))
    first[number[::-1]] = np.arange(len(number) - 1, -1, -1)  # of equal ones the first is written last
    used = np.flatnonzero(first < len(number))
    first[used[np.argsort(first[used], kind="stable")]] = np.arange(len(used))
    return first[number]


def ranked(first: Whole, second: Whole) -> Ints:
    """Numbers of pairs in order of the first code, then of the second; both count from 0."""
    pairs = first.astype(np.int64) * (int(second.max(initial=0)) + 1) + second
    if pairs.max(initial=0) > WIDE * len(pairs):
        return np.unique(pairs, return_inverse=True)[1]
    return used_codes(pairs)[1]


def first_places(numbers: Ints) -> Mask:
    """Where each number stands for the first time; numbers count from 0 in order of their first places."""
    result: Mask = np.diff(np.maximum.accumulate(numbers), prepend=-1) > 0
    return result


def first_pairs(first: Whole, second: Whole) -> Mask:
    """Where each pair of codes stands for the first time; quick where few of the second code stand twice."""
    again = repeated(second)
    result = ~again
    result[again] = first_places(combined(first[again], second[again]))
    return result


def repeated(numbers: Whole) -> Mask:
    """Where a number stands that stands elsewhere too; numbers are small and count from 0."""
    result: Mask = (np.bincount(numbers) > 1)[numbers]
    return result


def row_numbers(first: Whole, *others: Whole) -> Ints:
    """Numbers from 0 of rows that are equal where all of these codes are, which count from 0, shape (n,)."""
    number = first.astype(np.int64)
    for code in others:
        number = dense(number * (int(code.max(initial=0)) + 1) + code)
    return number


def dense(codes: Ints) -> Ints:
    """Numbers from 0, none left out, that are equal where codes are."""
    if not len(codes):
        return codes
    low = codes - codes.min()
    width = int(low.max()) + 1
    if width > WIDE * len(codes):
        return pd.factorize(codes)[0].astype(np.int64)
    held = np.zeros(width, dtype=bool)
    held[low] = True
    used = np.flatnonzero(held)
    place = np.empty(width, dtype=np.int64)
    place[used] = np.arange(len(used))
    return place[low]


def in_order(codes: Whole) -> Ints:
    """Places of codes in the order of these, equal ones as they stand: two bytes at a time, the last ones first."""
    order: Ints = np.argsort(codes.astype(np.uint16), kind="stable")
    rest = codes >> 16
    while rest.any():
        order = order[np.argsort(rest[order].astype(np.uint16), kind="stable")]
        rest = rest >> 16
    return order
