"""Rows of readings as whole numbers, so that equal and near rows are found by sorting."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Codes, Numbers

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Keys:
    """Rows as whole numbers, shape (n,): stratum first, then each column, with room for `near` steps around it."""

    key: Ints
    room: tuple[int, ...]  # values that each column may take

    @classmethod
    def of(cls, values: Numbers, stratum: Codes) -> Keys:
        """Keys of rows (n, columns) in whole steps."""
        near = settings("repeated_sets")["near"]
        room = cls._room(values, near)
        if math.prod(room) * (int(stratum.max()) + 1) >= 2**62:  # a few wild readings: only near ones matter
            values = np.column_stack([_closed_up(column, near) for column in values.T])
            room = cls._room(values, near)
        low = values.min(axis=0)
        key = stratum.astype(np.int64)
        for j, size in enumerate(room):
            key = key * size + (values[:, j] - low[j]).astype(np.int64)
        return cls(key, room)

    @staticmethod
    def _room(values: Numbers, near: int) -> tuple[int, ...]:
        return tuple(int(r) + 2 * near + 1 for r in np.ptp(values, axis=0))

    def without_last(self) -> Ints:
        """Keys of stratum and all columns but the last."""
        return self.key // self.room[-1]

    def of_last(self) -> Ints:
        """Keys of stratum and last column."""
        return self.key // math.prod(self.room) * self.room[-1] + self.key % self.room[-1]


def _closed_up(column: Numbers, near: int) -> Numbers:
    """The column with gaps of more than `near` steps closed to one step more, which keeps what is near."""
    values, place = np.unique(column, return_inverse=True)
    steps = np.minimum(np.diff(values, prepend=values[0]), near + 1)
    closed: Numbers = np.cumsum(steps)[place]
    return closed


def near_rows(cells: Ints, weight: Ints, room: tuple[int, ...], reach: int, of: Ints) -> Ints:
    """Weight of the rows within ±`reach` steps, in every column, of each of the keys `of`, shape of `of`.

    `cells` are distinct keys in order, `weight` what each counts. The last column counts in ones, so that for each
    shift of the other columns the near rows are one stretch of the sorted keys: only near rows are compared.
    """
    until = np.concatenate([[0], np.cumsum(weight)])
    near = np.zeros(len(of), dtype=np.int64)
    for shift in _shifts(room, reach):
        high = until[np.searchsorted(cells, of + shift + reach, side="right")]
        near += high - until[np.searchsorted(cells, of + shift - reach, side="left")]
    return near


def largest_near(cells: Ints, counts: Ints, room: tuple[int, ...], of: Ints) -> Ints:
    """Largest count of a key within one step, in every column, of each of the keys `of`, shape of `of`."""
    largest = np.zeros(len(of), dtype=np.int64)
    for before in _shifts(room, 1):
        for shift in (before - 1, before, before + 1):
            place = np.minimum(np.searchsorted(cells, of + shift), len(cells) - 1)
            largest = np.maximum(largest, np.where(cells[place] == of + shift, counts[place], 0))
    return largest


def _shifts(room: tuple[int, ...], reach: int) -> list[int]:
    """Every shift by up to `reach` steps in the columns before the last."""
    shifts = [0]
    for j in range(len(room) - 1):
        stride = math.prod(room[j + 1 :])
        shifts = [s + stride * d for s in shifts for d in range(-reach, reach + 1)]
    return shifts
