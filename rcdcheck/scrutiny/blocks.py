"""Longest stretches of rows that stand twice, found without comparing every row with every other.

Windows of 1, 2, 4 … rows get numbers that are equal where the windows are; a pair of places is then extended by
descending through these levels (prefix doubling: Karp, Miller and Rosenberg 1972). Sequences are laid end to end
with a code of its own after each, so that no stretch crosses an end. A stretch that stands exactly twice is found in
full; of one that stands more often more than half, which makes a result weaker and never stronger.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.tables import Mask

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lines:
    """Sequences laid end to end, shape (places,): code of the row (unique at an end), sequence and device of it."""

    code: Ints
    sequence: Ints
    device: Ints

    @classmethod
    def of(cls, codes: list[Ints], devices: list[Ints]) -> Lines:
        """Lay sequences end to end; codes of rows count from 0."""
        largest = max((int(c.max()) for c in codes if len(c)), default=-1)
        ends = [np.array([largest + 1 + i]) for i in range(len(codes))]
        return cls(
            np.concatenate([x for pair in zip(codes, ends, strict=True) for x in pair]),
            np.concatenate([np.full(len(c) + 1, i) for i, c in enumerate(codes)]),
            np.concatenate([np.append(d, -1 - i) for i, d in enumerate(devices)]),
        )


def levels(code: Ints) -> list[Ints]:
    """Numbers of the windows of 1, 2, 4 … rows at each place, up to the longest that stands twice."""
    rank = pd.factorize(code)[0].astype(np.int64)
    found = [rank]
    while True:
        longer = _doubled(found[-1], 2 ** (len(found) - 1))
        if longer is None:
            return found
        found.append(longer)


def _doubled(rank: Ints, length: int) -> Ints | None:
    """Numbers of windows twice as long, or None where none of them stands twice."""
    n = len(rank)
    often = np.bincount(rank) > 1
    kept = np.flatnonzero(often[rank[: n - length]] & often[rank[length:]]) if n > length else np.zeros(0, int)
    number, distinct = pd.factorize(rank[kept] * (rank.max() + 1) + rank[kept + length])
    if len(distinct) == len(kept):
        return None
    longer = np.arange(n, dtype=np.int64) + len(distinct)
    longer[kept] = number
    return longer


def common_length(found: list[Ints], i: Ints, j: Ints) -> Ints:
    """Rows that the stretches beginning at places i and j have in common, shape of i."""
    length = np.zeros(len(i), dtype=np.int64)
    last = len(found[0]) - 1
    for k in range(len(found) - 1, -1, -1):
        a, b = np.minimum(i + length, last), np.minimum(j + length, last)
        length += np.where(found[k][a] == found[k][b], 2**k, 0)
    return length


@dataclass(frozen=True)
class Block:
    """A stretch that stands twice: its length and the places where it begins; length 0 where there is none."""

    length: int = 0
    here: int = 0
    there: int = 0


def longest_within(found: list[Ints], offset: int) -> Block:
    """Longest stretch of one sequence that stands twice, `offset` rows apart or more."""
    places = np.arange(len(found[0]))
    for rank in reversed(found):
        first = np.full(rank.max() + 1, len(rank), dtype=np.int64)
        np.minimum.at(first, rank, places)
        i = np.flatnonzero(places - first[rank] >= offset)
        if len(i):
            length = common_length(found, i, first[rank[i]])
            best = int(length.argmax())
            return Block(int(length[best]), int(i[best]), int(first[rank[i[best]]]))
    return Block()


def longest_between(lines: Lines, found: list[Ints], sequences: int) -> list[Block]:
    """For each sequence its longest stretch that stands in another sequence on other devices."""
    blocks = [Block()] * sequences
    open_ = np.ones(sequences, dtype=bool)
    for rank in reversed(found):
        i, partner = _partners(lines, rank, open_)
        length = common_length(found, i, partner)
        for s in np.unique(lines.sequence[i]):
            mine = np.flatnonzero(lines.sequence[i] == s)
            best = mine[int(length[mine].argmax())]
            blocks[s] = Block(int(length[best]), int(i[best]), int(partner[best]))
            open_[s] = False
        if not open_.any():
            break
    return blocks


def _partners(lines: Lines, rank: Ints, wanted: Mask) -> tuple[Ints, Ints]:
    """Places of wanted sequences whose window stands in another sequence on another device, and where."""
    n = len(rank)
    places = np.arange(n)
    first, last = np.full(rank.max() + 1, n, dtype=np.int64), np.full(rank.max() + 1, -1, dtype=np.int64)
    np.minimum.at(first, rank, places)
    np.maximum.at(last, rank, places)
    partner = np.full(n, -1, dtype=np.int64)
    for other in (last[rank], first[rank]):
        apart = (lines.sequence[other] != lines.sequence) & (lines.device[other] != lines.device)
        partner[apart] = other[apart]
    i = np.flatnonzero((partner >= 0) & wanted[lines.sequence])
    return i, partner[i]


@dataclass(frozen=True, eq=False)
class EqualPairs:
    """Pairs of places with equal rows, shape (pairs,), at most so many that the work stays in proportion."""

    i: Ints
    j: Ints


def equal_pairs(lines: Lines, most: int) -> EqualPairs:
    """Places with equal rows, each with those that follow it among its equals."""
    order = np.argsort(lines.code, kind="stable")
    code = lines.code[order]
    firsts, seconds = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for shift in range(1, max(2, most // max(1, len(code)))):
        same = np.flatnonzero(code[shift:] == code[: len(code) - shift])
        if not len(same):
            break
        firsts.append(order[same])
        seconds.append(order[same + shift])
    return EqualPairs(np.concatenate(firsts), np.concatenate(seconds))
