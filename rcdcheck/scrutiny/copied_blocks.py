"""Does a block of rows stand twice: in one file, in two files, with two people, or from an earlier visit?

Why: copying a block of rows gives many plausible readings at once, in the same order.
How: asked of the rows as they stand, backwards, of every second row, and of each of the two columns alone; the
    smallest chance counts, divided by the share of the level that its way has (0.8 for rows as they stand). A row is
    the two trip times of a device (trip time and ramp current where there is one time only), in entry order. T is the
    length of the longest block that stands twice, 2 rows apart or more. Chance of one this long: 1 − exp(−N·pᵀ), where
    N counts the pairs of places where it could begin, over all pairs of files compared, and p is the larger of the
    share of equal pairs of rows and 1.3 times what near rows (±2 steps) that follow equal rows give for one cell:
    devices of one model standing together make equal neighbours likelier. A device compared with itself at an earlier
    visit is left out.
Source: longest common runs: Erdős and Rényi; Arratia and Waterman. Guard measured.
Not asked: fewer than 10 rows; rows sorted by their readings; of devices that a coarse display cannot tell apart.
Innocent: the same devices listed again under other names, which no clock time, site or identifier shows (a public data
    set of pipe defects shows this honestly); files merged twice; an earlier visit's rows left in a re-used sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from rcdcheck.numbering import row_numbers
from rcdcheck.scrutiny import crowds, outlets, tails
from rcdcheck.scrutiny.answer import Answer, too_few
from rcdcheck.scrutiny.blocks import (
    Block,
    Ints,
    Lines,
    common_length,
    equal_pairs,
    levels,
    longest_between,
    longest_within,
)
from rcdcheck.scrutiny.preparation import Group, settings
from rcdcheck.tables import Mask, Numbers

QUESTION = "copied_blocks"
SORTED = "the rows are sorted by their readings, so that their order says nothing"
NOTHING_ELSE = "there is no other person, file or visit to compare with"


@dataclass(frozen=True, eq=False)
class Sequence:
    """The complete rows of a group in entry order: readings (n, 2), step of each column, positions in the group."""

    values: Numbers
    steps: Numbers
    rows: Ints
    group: Group
    phases: bool = True  # trip times at both phases, else trip time and ramp current

    @property
    def usable(self) -> bool:
        """Whether there are enough rows, in an order of their own."""
        return len(self.rows) >= settings(QUESTION)["minimum"] and not self.group.time0.is_sorted

    @property
    def why_not(self) -> str:
        """The reason where it is not."""
        if len(self.rows) < settings(QUESTION)["minimum"]:
            return too_few(len(self.rows), settings(QUESTION)["minimum"], "complete rows")
        return SORTED if self.group.time0.is_sorted else ""


def sequence(group: Group) -> Sequence:
    """Trip times at both phases, or trip time and ramp current where few rows have both phases."""
    phases = group.pairs.sum() >= settings(QUESTION)["minimum"]
    columns = (group.time0, group.time180 if phases else group.ramp)
    values = np.column_stack([c.values for c in columns])
    rows = np.flatnonzero(~np.isnan(values).any(axis=1))
    return Sequence(values[rows], np.array([c.step for c in columns]), rows, group, bool(phases))


def ask(group: Group) -> list[Answer]:
    """Blocks that stand twice in the group."""
    mine = sequence(group)
    if not mine.usable:
        return [group.answer(QUESTION, len(mine.rows), why_not=mine.why_not, limits=True)]
    straight, *others = [way for make in WAYS for way in make(mine)]
    weight = settings(QUESTION)["weight_straight"]
    weighed = [(straight.chance / weight, straight)]
    weighed += [(way.chance * len(others) / (1 - weight), way) for way in others]
    chance, best = min(weighed, key=lambda pair: pair[0])
    return [
        group.answer(
            QUESTION,
            len(mine.rows),
            statistic=len(best.here),
            expectation=best.usual,
            chance=min(1.0, chance),
            sentence=f"a block of {len(best.here)} rows stands twice, {best.words}; in independent readings the "
            f"longest would be about {best.usual:.1f} rows"
            if len(best.here) > 1
            else "no block of rows stands twice",
            tests=mine.rows[np.unique(np.concatenate([best.here, best.there]))],
            beside=group_tests(mine, best.there),
            copies=group_tests(mine, best.here),
            doubt="copied-block",
            note="copied-block-note",
        )
    ]


def group_tests(mine: Sequence, rows: Ints) -> Ints:
    """Numbers of the tests of these rows."""
    tests: Ints = mine.group.tests[mine.rows[rows]]
    return tests


@dataclass(frozen=True, eq=False)
class Found:
    """A block that stands twice in one group: how it stands, its rows, and the rows that they repeat, pair by pair."""

    words: str
    chance: float
    usual: float
    here: Ints
    there: Ints


def _straight(mine: Sequence) -> list[Found]:
    """In the same order."""
    return [_stands(mine, mine.values, mine.steps, [np.arange(len(mine.rows))], "in the same order")]


def _every_second(mine: Sequence) -> list[Found]:
    """Every second row: the rows between may have been changed."""
    parts = [np.arange(k, len(mine.rows), 2) for k in (0, 1)]
    return [_stands(mine, mine.values, mine.steps, parts, "counting every second row")]


def _one_column(mine: Sequence) -> list[Found]:
    """One of the two columns, whatever stands beside it."""
    whole = [np.arange(len(mine.rows))]
    names = ("time at 0°", "time at 180°") if mine.phases else ("trip time", "ramp current")
    return [
        _stands(mine, mine.values[:, [k]], mine.steps[[k]], whole, f"in the same order, in the {names[k]} alone")
        for k in (0, 1)
    ]


def _backwards(mine: Sequence) -> list[Found]:
    """In reverse order; a block that overlaps its own mirror says only half as much."""
    n = len(mine.rows)
    code = row_numbers(mine.values)
    none = np.full(n, -1, dtype=np.int64)
    lines = Lines.of([code, code[::-1]], [none, none - 1])
    i = np.arange(n)
    best = (0, 0, 0)
    found = levels(lines.code)
    for rank in reversed(found):
        partner = np.full(int(rank.max()) + 1, -1, dtype=np.int64)
        partner[rank[n + 1 : 2 * n + 1]] = i + n + 1
        at = np.flatnonzero(partner[rank[:n]] >= 0)
        if len(at):
            lengths = common_length(found, at, partner[rank[at]])
            k = int(lengths.argmax())
            best = (int(lengths[k]), int(at[k]), int(partner[rank[at[k]]]) - n - 1)
            break
    length, here, mirrored = best
    there = n - 1 - mirrored - np.arange(length)
    rows = here + np.arange(length)
    overlap = bool(len(np.intersect1d(rows, there)))
    if overlap:  # the same rows read from both ends
        length //= 2
        rows, there = rows[:length], there[:length]
    counts = np.bincount(code).astype(np.float64)
    rate = max((counts * (counts - 1)).sum() / (n * (n - 1)), _near_rate(mine, code))
    starts = n * (n - 1) / 2
    chance = tails.run(starts, rate, length) if length > 1 else 1.0
    return [Found("in reverse order", chance, _usual(starts, rate), rows, there)]


def _near_rate(mine: Sequence, code: Ints) -> float:
    lines = Lines.of([code], [np.arange(len(code))])
    pairs = equal_pairs(lines, settings(QUESTION)["pairs"])
    near, total = _near_after(lines, mine.values, pairs.i, pairs.j)
    return _guarded(near.sum(), total.sum())


WAYS = (_straight, _every_second, _one_column, _backwards)


def _stands(mine: Sequence, values: Numbers, steps: Numbers, parts: list[Ints], words: str) -> Found:
    """The longest block of these columns, the rows being laid out in these parts."""
    order = np.concatenate(parts)
    number = row_numbers(values)
    lines = Lines.of([number[p] for p in parts], [p.astype(np.int64) for p in parts])
    place = np.concatenate([np.append(p, -1) for p in parts])
    block = longest_within(levels(lines.code), settings(QUESTION)["offset"])
    n, t = len(order), max(1, block.length)
    pairs = equal_pairs(lines, settings(QUESTION)["pairs"])
    apart = np.abs(pairs.i - pairs.j) >= settings(QUESTION)["offset"]
    laid = np.concatenate([np.vstack([values[p], np.full((1, values.shape[1]), np.nan)]) for p in parts])
    near, total = _near_after(lines, laid, pairs.i[apart], pairs.j[apart])
    counts = np.bincount(number).astype(np.float64)
    rate = max((counts * (counts - 1)).sum() / (n * (n - 1)), _guarded(near.sum(), total.sum(), values.shape[1]))
    if values.shape[1] == 1:
        rate = max(rate, _equal_after(lines, pairs.i[apart], pairs.j[apart], block))
    starts = (n - t) * (n - t + 1) / 2
    along = np.arange(block.length)
    here, there = place[block.here + along], place[block.there + along]
    overlap = len(np.intersect1d(here, there))
    chance = tails.run(starts, rate, t - overlap) if block.length > overlap else 1.0
    return Found(words, chance, _usual(starts, rate), here, there)


def ask_between(groups: tuple[Group, ...]) -> list[Answer]:
    """Blocks of each group that stand also in another group: other person, instrument or visit."""
    sequences = [sequence(crowds.left_out(outlets.once(g))) for g in groups]
    usable = [s for s in sequences if s.usable]
    if len(usable) < 2:
        return [s.group.answer(QUESTION, len(s.rows), why_not=s.why_not or NOTHING_ELSE) for s in sequences]
    answers = iter(_between(usable))
    return [next(answers) if s.usable else s.group.answer(QUESTION, len(s.rows), why_not=s.why_not) for s in sequences]


def _between(sequences: list[Sequence]) -> list[Answer]:
    lines = _lines(sequences)
    blocks = longest_between(lines, levels(lines.code), len(sequences))
    rates = _rates_between(lines, sequences)
    sizes = np.array([len(s.rows) for s in sequences])
    first = np.concatenate([[0], np.cumsum(sizes + 1)])
    answers = []
    for k, (mine, block) in enumerate(zip(sequences, blocks, strict=True)):
        t = max(1, block.length)
        others = np.maximum(sizes - t + 1, 0).sum() - max(sizes[k] - t + 1, 0)
        starts = float((sizes[k] - t + 1) * others)
        other = sequences[int(lines.sequence[block.there])].group.who.shown
        at = block.here - first[k]
        answers.append(
            mine.group.answer(
                QUESTION,
                int(sizes[k]),
                statistic=block.length,
                expectation=_usual(starts, rates[k]),
                chance=tails.run(starts, rates[k], t) if block.length else 1.0,
                sentence=f"a block of {block.length} rows stands also, in the same order and for other devices, "
                f"under {other}; in independent readings the longest would be about "
                f"{_usual(starts, rates[k]):.1f} rows"
                if block.length > 1
                else "no block of rows stands anywhere else",
                tests=mine.rows[at : at + block.length] if block.length else mine.rows[:0],
                copies=group_tests(mine, np.arange(at, at + block.length)),
                beside=_other_tests(lines, sequences, first, block),
                doubt="copied-block-elsewhere",
                note="copied-block-elsewhere-note",
            )
        )
    return answers


def _other_tests(lines: Lines, sequences: list[Sequence], first: Ints, block: Block) -> Ints:
    other = int(lines.sequence[block.there])
    start = block.there - int(first[other])
    return group_tests(sequences[other], np.arange(start, start + block.length))


def _lines(sequences: list[Sequence]) -> Lines:
    """Equal codes for rows whose readings are equal in ms (and mA)."""
    exact = [np.rint(s.values * s.steps * 1000).astype(np.int64) for s in sequences]
    both = np.concatenate(exact)
    code = pd.factorize(both[:, 0] * (both[:, 1].max() + 1) + both[:, 1])[0].astype(np.int64)
    codes = np.split(code, np.cumsum([len(e) for e in exact])[:-1])
    return Lines.of(codes, [s.group.device[s.rows].astype(np.int64) for s in sequences])


def _rates_between(lines: Lines, sequences: list[Sequence]) -> Numbers:
    """Chance that a further row is equal, of each sequence against all others, shape (sequences,)."""
    m = len(sequences)
    rows = np.array([len(s.rows) for s in sequences], dtype=np.float64)
    cells, counts = np.unique(lines.code * m + lines.sequence, return_counts=True)
    code, mine = cells // m, cells % m
    equal = np.bincount(mine, counts * (np.bincount(lines.code)[code] - counts), minlength=m)
    share = equal / (rows * (rows.sum() - rows))
    steps = np.max([s.steps for s in sequences], axis=0)
    ends = np.full((1, 2), np.nan)
    values = np.concatenate([np.vstack([s.values * s.steps / steps, ends]) for s in sequences])
    pairs = equal_pairs(lines, settings(QUESTION)["pairs"])
    apart = lines.sequence[pairs.i] != lines.sequence[pairs.j]
    apart &= lines.device[pairs.i] != lines.device[pairs.j]
    i, j = pairs.i[apart], pairs.j[apart]
    near, total = _near_after(lines, values, i, j)
    by = np.concatenate([lines.sequence[i[total]], lines.sequence[j[total]]])
    nears = np.bincount(by, np.tile(near[total], 2), minlength=m)
    return np.maximum(share, [_guarded(a, b) for a, b in zip(nears, np.bincount(by, minlength=m), strict=True)])


def _near_after(lines: Lines, values: Numbers, i: Ints, j: Ints) -> tuple[Mask, Mask]:
    """Whether the rows after each equal pair are near but not equal, and whether there are such rows at all."""
    last = len(values) - 1
    after_i, after_j = np.minimum(i + 1, last), np.minimum(j + 1, last)
    exists = (lines.sequence[after_i] == lines.sequence[i]) & (lines.sequence[after_j] == lines.sequence[j])
    exists &= (i < last) & (j < last)
    difference = np.abs(values[after_i] - values[after_j])
    near = (difference <= settings(QUESTION)["near"] + 1e-9).all(axis=1) & (difference > 1e-9).any(axis=1)
    return near & exists, exists


def _equal_after(lines: Lines, i: Ints, j: Ints, block: Block) -> float:
    """Share of equal rows after equal rows of one column, the block itself left out: like devices standing together."""
    within = (np.minimum(i, j) >= min(block.here, block.there)) & (np.abs(i - j) == abs(block.here - block.there))
    within &= np.minimum(i, j) < min(block.here, block.there) + block.length
    i, j = i[~within], j[~within]
    last = len(lines.code) - 1
    equal = lines.code[np.minimum(i + 1, last)] == lines.code[np.minimum(j + 1, last)]
    return float(equal.mean()) if len(equal) >= settings(QUESTION)["minimum"] else 0.0


def _guarded(near: float, total: float, columns: int = 2) -> float:
    cells = (2 * settings(QUESTION)["near"] + 1) ** columns - 1
    return float(settings(QUESTION)["guard"] * near / total / cells) if total else 0.0


def _usual(starts: float, rate: float) -> float:
    """Usual length of the longest common block: log of N to the base 1/p."""
    return max(0.0, float(np.log(max(starts, 1)) / -np.log(min(max(rate, 1e-12), 0.999))))
