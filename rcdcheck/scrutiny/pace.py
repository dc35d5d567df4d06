"""Were tests made faster than they can be, too many in a shift, or at two sites at once?

Why: looking, connecting and two trip tests take time, and a person is at one place.
How: tests of one name and instrument at one site in order of their clock times. Ten or more in a row at a mean under
    30 s, or at 30 to 45 s, are notes: times of typing, stamps of an automatic sequence and a row of devices in one
    switchboard give the same honestly and cannot be told from it. More than 350 in a shift (a gap of 4 h ends one) are
    a note. One name with one instrument that goes from one site to another at each of 40 tests or more in a row, under
    a quarter of an hour apart, is a doubt; one instrument at two sites within a minute, three times or more, a note:
    two people under one team name show it, and so does the night on which clocks go back. Whole minutes add one minute
    to a span.
Source: common practice without a source; every value can be set in scrutiny.toml.
Not asked: dates without clock times, or clock times that stand on four tests or more each.
Innocent: times of typing instead of testing; stamps of an automatic sequence; a clock read out wrongly, or set back
    that night; two people or several instruments of one model under one name.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.identity import folded
from rcdcheck.scrutiny.answer import Answer, Rows
from rcdcheck.scrutiny.grouping import Material
from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Codes, Mask, Tables

QUESTION = "pace"
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Timed:
    """Tests with a clock time of their own, shape (n,): number, person, instrument, site, time in s since 1970."""

    test: Rows
    person: Ints
    instrument: Ints
    site: Ints
    at: Ints
    slack: int  # s added to every span: 60 where only minutes are known

    def sorted_by(self, *keys: Ints) -> Timed:
        """The same in order of these keys, then of time."""
        return self[np.lexsort((self.test, self.at, *reversed(keys)))]

    def __getitem__(self, at: Mask | Ints | slice) -> Timed:
        """The tests at these places."""
        return Timed(self.test[at], self.person[at], self.instrument[at], self.site[at], self.at[at], self.slack)


def ask(material: Material) -> list[Answer]:
    """Answers for each person: speed, shifts, places."""
    known = material.counted & material.tables.tests["clock_known"].to_numpy()
    known &= material.tables.tests["tested_at"].notna().to_numpy()
    timed = _timed(material.tables, known, material.people)
    timed = timed[~_typed_together(timed)]
    found = [*_fast(material, timed), *_shifts(material, timed), *_two_places(material, timed)]
    return [*found, *_rest(material, timed, known, {a.who.family for a in found})]


def _timed(tables: Tables, known: Mask, people: Codes) -> Timed:
    test = np.flatnonzero(known)
    names = ("instrument", "site")
    instrument, site = (folded(tables.tests[name].to_numpy()[test], tables.vocabulary) for name in names)
    at = tables.tests["tested_at"].to_numpy()[test].astype("datetime64[s]").astype(np.int64)
    slack = 60 if len(at) and (at % 60 == 0).all() else 0
    return Timed(test, people[test].astype(np.int64), instrument, site, at, slack)


def _typed_together(timed: Timed) -> Mask:
    """Tests of a person that stand with many others at one and the same time: typed once for a page or a board."""
    if not len(timed.at):
        return np.zeros(0, dtype=bool)
    moment = pd.factorize(timed.person * (np.ptp(timed.at) + 1) + timed.at - timed.at.min())[0]
    result: Mask = (np.bincount(moment) >= settings(QUESTION)["together"])[moment]
    return result


def _fast(material: Material, timed: Timed) -> list[Answer]:
    set_ = settings(QUESTION)
    row = timed.sorted_by(timed.person, timed.instrument, timed.site)
    too_fast = streaks(row, set_["too_fast_s"])
    fast = streaks(row, set_["fast_s"]) & ~too_fast
    answers = []
    for person in np.unique(row.person[too_fast | fast]):
        span = slice(*np.searchsorted(row.person, [person, person + 1]))
        mine = row[span]
        for tests, note in (
            (too_fast[span], "tested-too-fast"),
            (fast[span], "tested-fast"),
        ):
            if tests.any():
                says, mean, fastest = _fastest(mine, tests)
                answers.append(
                    dataclasses.replace(
                        _answer(material, int(person), mine.test[tests], says, "note", mean, "", note),
                        copies=mine.test[fastest],
                    )
                )
    return answers


def streaks(row: Timed, seconds: float) -> Mask:
    """Tests that belong to ten or more in a row, of one person, instrument and site, at a mean under `seconds`."""
    w = settings(QUESTION)["consecutive"]
    inside = np.zeros(len(row.at), dtype=bool)
    if len(row.at) < w:
        return inside
    one = np.ones(len(row.at) - w + 1, dtype=bool)
    for key in (row.person, row.instrument, row.site):
        one &= key[: len(one)] == key[w - 1 :]
    mean = (row.at[w - 1 :] - row.at[: len(one)] + row.slack) / (w - 1)
    edges = np.zeros(len(row.at) + 1, dtype=np.int64)
    starts = np.flatnonzero(one & (mean < seconds))
    np.add.at(edges, starts, 1)
    np.add.at(edges, starts + w, -1)
    return np.cumsum(edges[:-1]) > 0


def _fastest(row: Timed, tests: Mask) -> tuple[str, float, Ints]:
    """Sentence on the fastest ten in a row, its mean in s, and its rows."""
    w = settings(QUESTION)["consecutive"]
    starts = np.flatnonzero(tests[: len(tests) - w + 1])
    one = np.ones(len(starts), dtype=bool)
    for key in (row.person, row.instrument, row.site):
        one &= key[starts] == key[starts + w - 1]
    starts = starts[one]
    spans = row.at[starts + w - 1] - row.at[starts] + row.slack
    best = int(spans.argmin())
    rows, mean = starts[best] + np.arange(w), float(spans[best]) / (w - 1)
    clock = [f"{pd.Timestamp(int(row.at[r]), unit='s'):%Y-%m-%d %H:%M:%S}" for r in (rows[0], rows[-1])]
    most = "at most " if row.slack else ""
    says = f"{w} tests in a row stand at a mean of {most}{mean:.0f} s each, from {clock[0]} to {clock[1]}"
    more = int(tests.sum())
    return says + (f"; {more} tests belong to stretches of ten that are as fast" if more > w else ""), mean, rows


def _shifts(material: Material, timed: Timed) -> list[Answer]:
    set_ = settings(QUESTION)
    row = timed.sorted_by(timed.person, timed.instrument)
    if not len(row.at):
        return []
    new = (np.diff(row.person) != 0) | (np.diff(row.instrument) != 0)
    new |= np.diff(row.at) > 3600 * set_["shift_gap_h"]
    starts = np.concatenate([[0], np.flatnonzero(new) + 1, [len(row.at)]])
    counts = np.diff(starts)
    return [
        _answer(
            material,
            int(row.person[starts[s]]),
            row.test[starts[s] : starts[s + 1]],
            f"{counts[s]} tests stand in one shift",
            "note",
            float(counts[s]),
            "",
            "many-in-a-shift",
        )
        for s in np.flatnonzero(counts > set_["shift_tests"])
    ]


def _two_places(material: Material, timed: Timed) -> list[Answer]:
    set_ = settings(QUESTION)
    row = timed[(timed.instrument > 0) & (timed.site > 0)]
    row = row.sorted_by(row.instrument)
    near = (np.diff(row.instrument) == 0) & (np.diff(row.site) != 0)
    same = np.diff(row.person) == 0
    jump = near & (np.diff(row.at) < set_["elsewhere_s"])
    turn = _long(near & same & (np.diff(row.at) < set_["turn_s"]), set_["turns"])
    return [
        *_places(material, row, turn, "in turn", "two-sites-at-once"),
        *_places(material, row, jump & same & ~turn, "one name with one instrument", ""),
        *_places(material, row, jump & ~same, "one instrument, under different names,", ""),
    ]


def _long(holds: Mask, least: int) -> Mask:
    """The stretches of true values that are at least so long."""
    number = np.cumsum(~holds)
    result: Mask = holds & (np.bincount(number[holds], minlength=len(holds) + 1) >= least)[number]
    return result


def _places(material: Material, row: Timed, jump: Mask, who: str, doubt: str) -> list[Answer]:
    answers = []
    jumps = np.flatnonzero(jump)
    for at in np.split(jumps, np.flatnonzero(np.diff(row.instrument[jumps + 1])) + 1):
        if len(at) >= settings(QUESTION)["elsewhere_times"]:
            rows = np.unique(np.concatenate([at, at + 1]))
            tests = row.test[rows]
            minutes = float(np.median(row.at[at + 1] - row.at[at])) / 60
            says = (
                f"{len(tests)} tests of one name and instrument go from one site to another and back at every test, "
                f"{minutes:.1f} minutes apart in the middle"
                if doubt
                else f"{who} stands at two sites within a minute, {len(at)} times"
            )
            direct = "moderately strong" if doubt else "note"
            answers.append(
                _answer(
                    material, int(row.person[at[0]]), tests, says, direct, len(at), doubt, "instrument-at-two-sites"
                )
            )
    return answers


def _answer(
    material: Material, person: int, tests: Rows, sentence: str, direct: str, statistic: float, doubt: str, note: str
) -> Answer:
    return Answer(
        QUESTION,
        material.who[person],
        len(tests),
        sentence=sentence,
        direct=direct,
        statistic=statistic,
        tests=np.sort(tests),
        doubt=doubt,
        note=note,
    )


def _rest(material: Material, timed: Timed, known: Mask, found: set[int]) -> list[Answer]:
    """The other people: asked and ordinary, or why not asked."""
    answers = []
    asked = np.bincount(timed.person, minlength=len(material.who))
    with_clock = np.bincount(material.people[known], minlength=len(material.who))
    for person, who in enumerate(material.who):
        if person in found:
            continue
        if asked[person]:
            answers.append(
                Answer(QUESTION, who, int(asked[person]), sentence="tests follow each other at a usual pace")
            )
        else:
            why = (
                "one clock time stands on many tests each, as where it is typed once for a page or a board"
                if with_clock[person]
                else "dates stand without clock times: nobody can tell how fast the tests were made"
            )
            answers.append(Answer(QUESTION, who, 0, why, limits=True))
    return answers
