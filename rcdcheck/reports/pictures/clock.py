"""The day on a clock: when each person's tests were made."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures.parts import MOST, Box, Line, Mark, Picture, Plot, Words, key_of, tests_in_doubt
from rcdcheck.reports.text import counted, cut
from rcdcheck.showing import visible
from rcdcheck.tables import Numbers

ROW, TOP = 50, 0  # pixels of one line of the picture, and above the first
LINES = 24  # lines of the picture: days of persons, or persons where these are too many
APART = 3  # days in doubt that each person's are shown by themselves

Groups = list[tuple[tuple[object, ...], pd.DataFrame]]  # tests by (person, day) or (person,)


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no clock time is known."""
    tests = clocked(audit)
    if tests.empty:
        return None
    days = list(tests.groupby(["person", "day"], sort=True))
    lines = _lines(tests, days)
    start, end = _hours(tests["minute"].to_numpy())
    plot = _plot(lines[:LINES], start, end)
    left_out = max(0, len(lines) - LINES)
    bars = (("bar", "tests in a quarter of an hour, over all days"),) if plot.boxes else ()
    return Picture(
        name="clock",
        title="The day on a clock",
        caption="When each person's tests were made, by the time of day that was typed. Gaps are ways and breaks. "
        "Where clock times were typed once for a page, strokes stand on each other."
        + (" Days are laid over each other; days in a doubt about pace stand by themselves." if bars else "")
        + (f" {counted(left_out, 'line')} more {'is' if left_out == 1 else 'are'} left out." if left_out else ""),
        alternative=f"{len(tests):,} tests with a clock time on {counted(tests['day'].nunique(), 'day')} by "
        f"{counted(tests['person'].nunique(), 'person', 'people')}. The table below gives first and last test of "
        "each day and the usual gap.",
        plots=(plot,),
        head=("Tested by", "Day", "Sites", "First", "Last", "Tests", "Usual gap"),
        rows=tuple(_row(audit, key, group) for key, group in days[:200]),
        key=(*bars, *key_of((plot,))),
        notes=(f"{len(days) - 200:,} more days are not listed.",) if len(days) > 200 else (),
    )


def clocked(audit: Audit) -> pd.DataFrame:
    """Tests whose clock time is known, each counted once: person, site (code), day, minute of the day, in doubt."""
    tests = audit.tables.tests
    shown = tests["clock_known"] & tests["tested_at"].notna() & audit.test_outcomes["counted"]
    at = tests.loc[shown, ["technician", "site", "tested_at"]]
    day = at["tested_at"].dt.normalize()
    minute = (at["tested_at"] - day).dt.total_seconds() / 60
    names = audit.tables.texts(at["technician"])
    person = np.where(names == "", "nobody named", names)
    doubted = tests_in_doubt(audit, "pace")[at.index.to_numpy()]
    return pd.DataFrame({"person": person, "site": at["site"], "day": day, "minute": minute, "doubted": doubted})


def _lines(tests: pd.DataFrame, days: Groups) -> Groups:
    """Each person's days one by one, or, where they are too many, laid over each other with the days in doubt apart."""
    if len(days) <= LINES and len(tests) <= MOST:
        return days
    lines: Groups = []
    for key, group in tests.groupby(["person"], sort=True):
        apart = sorted(group.loc[group["doubted"], "day"].unique())[:APART]
        lines += [(key, group), *(((*key, day), group[group["day"] == day]) for day in apart)]
    return lines


def _hours(minute: Numbers) -> tuple[int, int]:
    start, end = int(minute.min() // 60), int(minute.max() // 60) + 1
    return (start, end) if end - start > 1 else (max(0, start - 1), min(24, end + 1))


def _plot(groups: Groups, start: int, end: int) -> Plot:
    span = (end - start) * 60
    marks: list[Mark] = []
    boxes: list[Box] = []
    lines: list[Line] = []
    words: list[Words] = []
    for i, (key, group) in enumerate(groups):
        floor = TOP + (i + 1) * ROW
        x = np.round((group["minute"].to_numpy() - start * 60) * 100 / span, 2)
        lines.append(Line("grid", 0, floor, 100, floor))
        words.append(Words(_label(key, group), 0, floor - 27))
        if len(key) > 1:
            kinds = np.where(group["doubted"], "stroke-doubt", "stroke")
            marks += [Mark(str(kind), float(v), floor - 9.0) for kind, v in zip(kinds, x, strict=True)]
        else:
            boxes += _quarters(x, span, floor)
    step = next(s for s in (1, 2, 3, 4, 6) if (end - start) / s <= 6)
    return Plot(
        height=TOP + len(groups) * ROW + 4,
        across="time of day",
        ticks_across=tuple(
            (round((h - start) * 6000 / span, 2), f"{h:02d}:00") for h in range(start + -start % step, end + 1, step)
        ),
        boxes=tuple(boxes),
        lines=tuple(lines),
        marks=tuple(marks),
        words=tuple(words),
    )


def _quarters(x: Numbers, span: int, floor: int) -> list[Box]:
    wide = 1500 / span  # a quarter of an hour in per cent
    bins, counts = np.unique(x // wide, return_counts=True)
    tall = np.maximum(1.5, 20 * counts / counts.max())
    return [
        Box("bar", round(float(b * wide), 2), round(float(floor - t), 1), round(wide, 2), round(float(t), 1))
        for b, t in zip(bins, tall, strict=True)
    ]


def _label(key: tuple[object, ...], group: pd.DataFrame) -> str:
    day = [str(pd.Timestamp(str(key[1])).date())] if len(key) > 1 else []
    return " · ".join([cut(visible(str(key[0])), 22), *day, counted(len(group), "test")])


def _row(audit: Audit, key: tuple[object, ...], group: pd.DataFrame) -> tuple[str, ...]:
    minutes = np.sort(group["minute"].to_numpy())
    sites = [s for s in dict.fromkeys(audit.tables.texts(group["site"])) if s]
    gap = f"{np.median(np.diff(minutes)):.3g} min" if len(minutes) > 1 else "one test"
    shown = ", ".join(sites[:3]) + (f" and {len(sites) - 3} more" if len(sites) > 3 else "")
    day = str(pd.Timestamp(str(key[1])).date())
    return (str(key[0]), day, shown or "none named", _clock(minutes[0]), _clock(minutes[-1]), f"{len(minutes):,}", gap)


def _clock(minute: float) -> str:
    return f"{int(minute // 60):02d}:{int(minute % 60):02d}"
