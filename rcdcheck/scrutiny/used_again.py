"""Earlier readings used again, against everything that a register of visits holds: as they are, or shifted a little.

Two questions are asked of it, whose pages stand with `earlier_visit` and `copied_blocks`: whether a device's readings
are unchanged since any earlier visit, or closer to it than a repeat can be; and whether a block of rows stands, in the
same order and for other devices, anywhere in the register, equal or with every reading within two display steps. The
chance of the first is multiplied by the number of earlier visits looked at; that of the second counts every place of
the register where a block could begin. The chance that a further row fits is the larger of the share of fitting pairs
and 1.3 times the share of fitting rows that follow fitting rows, so that devices of one model standing together are no
surprise. The same test listed again is never looked at. Measured on honest fleets over ten visits, in tenths and in
whole milliseconds (tests/bench/register_calibration.py): of 51,840 sheets of 5,760 technicians 4 (of 3) were
noted and none doubted, at most 2 notes in 10,000 sheets with 95 % confidence.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.scrutiny import copied_blocks, crowds, earlier_visit, outlets, tails
from rcdcheck.scrutiny.answer import Answer
from rcdcheck.scrutiny.grouping import Material, readings_side_by_side
from rcdcheck.scrutiny.preparation import Group, settings
from rcdcheck.tables import Mask, Numbers

EVERY = 5  # rows from one anchor to the next: a block of ten rows holds two
LAGS = 200  # of the most promising, looked at in full
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Earlier:
    """What a register holds. `visits`: name, and time at 0°, at 180° and ramp of each test of the run at that visit
    (NaN for none), the latest first. The rest is every row of the register in entry order: device and visit by
    number, both times; `known` is the number of the device of each test of the run, `titles` names visits.
    """

    visits: tuple[tuple[str, Numbers, Numbers, Numbers], ...]
    known: Ints
    device: Ints
    visit: Ints
    time0: Numbers
    time180: Numbers
    titles: dict[int, str]

    @functools.cached_property
    def by_time0(self) -> tuple[Ints, Numbers]:
        """Rows in order of their time at 0°, those without one last, and the times in that order."""
        order = np.argsort(self.time0, kind="stable")
        return order, self.time0[order]


def instead(answers: Sequence[Answer], material: Material, earlier: Earlier) -> list[Answer]:
    """The answers with those about earlier visits asked of the register, where the run itself holds no earlier one."""
    alone = [group for group in material.groups if not group.earlier]
    who = {group.who for group in alone}
    kept = [a for a in answers if a.question != earlier_visit.QUESTION or a.who not in who]
    now = readings_side_by_side(material.tables)
    asked = []
    for group in alone:
        others = material.counted & (material.people != material.people[group.tests[0]])
        asked += ask_devices(group, earlier, now, others)
    return kept + asked + ask_blocks(material.groups, earlier)


def ask_devices(group: Group, earlier: Earlier, now: Sequence[Numbers], others: Mask) -> list[Answer]:
    """The answers of earlier_visit, each of the visit to which it is strangest.

    `now` has the readings of each test of the run (two times and ramp), `others` says which are other people's.
    """
    tests, minimum = group.tests, settings(earlier_visit.QUESTION)["closest"]
    found: dict[str, list[Answer]] = {}
    usable = [v for v in earlier.visits if (~np.isnan(v[1][tests])).sum() >= minimum]
    for name, *readings in usable:
        before = tuple(values[tests] for values in readings)
        elsewhere = functools.partial(_elsewhere, now, readings, others)
        for answer in earlier_visit.ask(dataclasses.replace(group, earlier=before, changes_elsewhere=elsewhere)):
            told = answer.sentence.replace("the visit before", name)
            found.setdefault(answer.note or answer.why_not, []).append(dataclasses.replace(answer, sentence=told))
    if not found:
        return earlier_visit.ask(group)
    asked = [min(mine, key=lambda a: a.chance) for code, mine in found.items() if mine[0].asked]
    many = len(usable)
    strange = [dataclasses.replace(a, chance=min(1.0, a.chance * many)) for a in asked]
    return strange or [mine[0] for mine in found.values()][:1]


def _elsewhere(now: Sequence[Numbers], before: Sequence[Numbers], others: Mask) -> tuple[Numbers, ...]:
    """Changes since a visit before of other people's devices."""
    change0, change180 = now[0] - before[0], now[1] - before[1]
    known = others & ~np.isnan(change0)
    return (change0[known], change180[known]) if known.any() else ()


def ask_blocks(groups: Sequence[Group], earlier: Earlier) -> list[Answer]:
    """Blocks of each group that stand, for other devices, anywhere in the register."""
    found = [list(_blocks(group, earlier)) for group in groups]
    return [min(answers, key=lambda a: a.chance) for answers in found if answers]  # a block that is equal is near, too


def _blocks(group: Group, earlier: Earlier) -> Iterator[Answer]:
    group = crowds.left_out(outlets.once(group))
    mine = copied_blocks.sequence(group)
    phases = group.pairs.sum() >= settings(copied_blocks.QUESTION)["minimum"]
    if not mine.usable or not phases or len(earlier.time0) < settings(copied_blocks.QUESTION)["minimum"]:
        return
    values = mine.values * mine.steps
    known = earlier.known[group.tests[mine.rows]]
    near = settings(copied_blocks.QUESTION)["near"]
    for steps, words in ((0, ""), (near, f" but for shifts of up to {near} display steps")):
        tolerance = steps * mine.steps + 1e-6
        block = _longest(values, known, earlier, tolerance, near * mine.steps + 1e-6)
        if block is None:
            continue
        here, there, length, rate, starts = block
        title = earlier.titles[int(earlier.visit[there])]
        yield group.answer(
            copied_blocks.QUESTION,
            len(mine.rows),
            statistic=length,
            expectation=float(np.log(starts) / -np.log(min(max(rate, 1e-12), 0.999))),
            chance=min(1.0, 2 * tails.run(starts, rate, length)),
            sentence=f"a block of {length} rows stands also, in the same order and for other devices{words}, in "
            f"{title}",
            tests=mine.rows[here : here + length],
            doubt="copied-block-elsewhere",
            note="copied-block-elsewhere-note",
        )


def _longest(
    values: Numbers, known: Ints, earlier: Earlier, tolerance: Numbers, near: Numbers
) -> tuple[int, int, int, float, float] | None:
    """Longest block within a tolerance: place here, place there, length, chance of a further row, starts."""
    n, rows = len(values), len(earlier.time0)
    anchors = np.arange(0, n, EVERY)
    hits = [_fitting(values[[a]], known[[a]], earlier, tolerance) for a in anchors]
    at = np.repeat(anchors, [len(h) for h in hits])
    there = np.concatenate(hits) if hits else np.zeros(0, dtype=np.int64)
    lags, counts = np.unique(there - at, return_counts=True)
    lags = lags[counts >= 2][np.argsort(-counts[counts >= 2], kind="stable")][:LAGS]
    best = (0, 0, 0, 0)
    for lag in lags:
        i = np.arange(max(0, -lag), min(n, rows - lag))
        fits = _fit(values[i], known[i], earlier, i + lag, tolerance)
        start, length = _longest_run(fits, earlier.visit[i + lag])
        if length > best[2]:
            best = (int(i[start]), int(i[start] + lag), length, int(lag))
    if best[2] < 2:
        return None
    elsewhere = (there - at != best[3]) & (at + 1 < n) & (there + 1 < rows)
    i, j = at[elsewhere] + 1, there[elsewhere] + 1
    same = earlier.visit[j] == earlier.visit[j - 1]
    after = _fit(values[i], known[i], earlier, j, near) & same
    cells = 1 if (tolerance >= near).all() else (2 * settings(copied_blocks.QUESTION)["near"] + 1) ** 2
    following = settings(copied_blocks.QUESTION)["guard"] * after.sum() / max(1, same.sum()) / cells
    rate = max(len(there) / (len(anchors) * rows), float(following))
    return best[0], best[1], best[2], rate, float((n - best[2] + 1) * rows)


def _fitting(values: Numbers, known: Ints, earlier: Earlier, tolerance: Numbers) -> Ints:
    """Rows of the register that fit one row: found by their first reading, then looked at."""
    order, ordered = earlier.by_time0
    low = int(np.searchsorted(ordered, values[0, 0] - tolerance[0], "left"))
    high = int(np.searchsorted(ordered, values[0, 0] + tolerance[0], "right"))
    near = order[low:high]
    return np.sort(near[_fit(values, known, earlier, near, tolerance)])


def _fit(values: Numbers, known: Ints, earlier: Earlier, rows: Ints, tolerance: Numbers) -> Mask:
    """Whether rows of the register fit, and are those of another device."""
    fits: Mask = np.abs(earlier.time0[rows] - values[:, 0]) <= tolerance[0]
    fits &= np.abs(earlier.time180[rows] - values[:, 1]) <= tolerance[1]
    return fits & (earlier.device[rows] != known)


def _longest_run(fits: Mask, visit: Ints) -> tuple[int, int]:
    """Start and length of the longest run of rows that fit, in one visit."""
    if not fits.any():
        return 0, 0
    breaks = ~fits
    breaks[1:] |= visit[1:] != visit[:-1]
    number = np.cumsum(breaks)
    lengths = np.bincount(number[fits])
    longest = int(np.argmax(lengths))
    start = int(np.flatnonzero(fits & (number == longest))[0])
    return start, int(lengths[longest])
