"""The day on a clock: when each person's tests were made."""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.records import Audit, Numbers
from rcdcheck.reports.pictures import MOST, Box, Line, Mark, Picture, Plot, Words
from rcdcheck.reports.text import counted, cut, visible

ROW, TOP = 50, 0  # pixels of one line of the picture, and above the first
LINES = 24  # days of persons shown stroke by stroke; beyond that each person has one line

Groups = list[tuple[tuple[object, ...], pd.DataFrame]]  # tests by (person, day) or (person,)


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no clock time is known."""
    tests = clocked(audit)
    if tests.empty:
        return None
    days = list(tests.groupby(["person", "day"], sort=True))
    by_day = len(days) <= LINES and len(tests) <= MOST
    start, end = _hours(tests["minute"].to_numpy())
    groups = days if by_day else list(tests.groupby(["person"], sort=True))
    plot = _plot(groups[:LINES], start, end, by_day)
    left_out = max(0, len(groups) - LINES)
    return Picture(
        name="clock",
        title="The day on a clock",
        caption=(
            "Each stroke is one test, at the time of day that was typed, person by person and day by day."
            if by_day
            else "How many tests each person made in each quarter of an hour of the day, over all days."
        )
        + " Gaps are ways and breaks. Where clock times were typed once for a page, strokes stand on each other."
        + (f" {counted(left_out, 'person', 'people')} more are left out of the picture." if left_out else ""),
        alternative=f"{len(tests):,} tests with a clock time on {counted(tests['day'].nunique(), 'day')} by "
        f"{counted(tests['person'].nunique(), 'person', 'people')}. The table below gives first and last test of "
        "each day and the usual gap.",
        plots=(plot,),
        head=("Tested by", "Day", "Sites", "First", "Last", "Tests", "Usual gap"),
        rows=tuple(_row(audit, key, group) for key, group in days[:200]),
        notes=(f"{len(days) - 200:,} more days are not listed.",) if len(days) > 200 else (),
    )


def clocked(audit: Audit) -> pd.DataFrame:
    """Tests whose clock time is known, each counted once: person and site (codes), day, minute of the day."""
    tests = audit.tables.tests
    shown = tests["clock_known"] & tests["tested_at"].notna() & audit.test_outcomes["counted"]
    at = tests.loc[shown, ["technician", "site", "tested_at"]]
    day = at["tested_at"].dt.normalize()
    minute = (at["tested_at"] - day).dt.total_seconds() / 60
    names = audit.tables.texts(at["technician"])
    person = np.where(names == "", "nobody named", names)
    return pd.DataFrame({"person": person, "site": at["site"], "day": day, "minute": minute})


def _hours(minute: Numbers) -> tuple[int, int]:
    start, end = int(minute.min() // 60), int(minute.max() // 60) + 1
    return (start, end) if end - start > 1 else (max(0, start - 1), min(24, end + 1))


def _plot(groups: Groups, start: int, end: int, by_day: bool) -> Plot:
    span = (end - start) * 60
    marks: list[Mark] = []
    boxes: list[Box] = []
    lines: list[Line] = []
    words: list[Words] = []
    for i, (key, group) in enumerate(groups):
        floor = TOP + (i + 1) * ROW
        x = np.round((group["minute"].to_numpy() - start * 60) * 100 / span, 2)
        lines.append(Line("grid", 0, floor, 100, floor))
        words.append(Words(_label(key, group, by_day), 0, floor - 27))
        if by_day:
            marks += [Mark("stroke", float(v), floor - 9.0) for v in x]
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


def _label(key: tuple[object, ...], group: pd.DataFrame, by_day: bool) -> str:
    tests = counted(len(group), "test")
    name = cut(visible(str(key[0])), 22)
    return f"{name} · {pd.Timestamp(str(key[1])).date()} · {tests}" if by_day else f"{name} · {tests}"


def _row(audit: Audit, key: tuple[object, ...], group: pd.DataFrame) -> tuple[str, ...]:
    minutes = np.sort(group["minute"].to_numpy())
    sites = [s for s in dict.fromkeys(audit.tables.texts(group["site"])) if s]
    gap = f"{np.median(np.diff(minutes)):.3g} min" if len(minutes) > 1 else "one test"
    shown = ", ".join(sites[:3]) + (f" and {len(sites) - 3} more" if len(sites) > 3 else "")
    day = str(pd.Timestamp(str(key[1])).date())
    return (str(key[0]), day, shown or "none named", _clock(minutes[0]), _clock(minutes[-1]), f"{len(minutes):,}", gap)


def _clock(minute: float) -> str:
    return f"{int(minute // 60):02d}:{int(minute % 60):02d}"
