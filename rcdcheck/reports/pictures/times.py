"""Trip times by device, on a logarithmic axis, against the limit of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports.pictures.parts import (
    LABELLED,
    Line,
    Log,
    Picture,
    Plot,
    Words,
    key_of,
    kinds_of,
    number,
    scatter,
    tests_in_doubt,
)
from rcdcheck.reports.text import counted, cut
from rcdcheck.showing import visible
from rcdcheck.tables import Numbers, Texts
from rcdcheck.terms import Bound, State, Verdict

HEIGHT, BEYOND = 300, 26  # pixels; the strip on top is for devices that did not trip
ROOM, NARROW, LINE = 12, 24, 14  # per cent of the width that words need, and on a phone; pixels of their height
EDGE = 6  # per cent from either side in which words hang inwards
FEW = 16  # stretches of limits up to which the short ones all carry their value
STEPS = 240  # pieces of a limit's line at most

Counts = npt.NDArray[np.int64]


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no trip time was read."""
    times = trip_times(audit)
    multiples = sorted(times["multiple"].unique())[:3]
    plots = [_plot(audit, times[times["multiple"] == m], m) for m in multiples]
    if not plots:
        return None
    held = int((times["held"]).sum())
    fails = int((times["verdict"] == Verdict.FAIL).sum())
    alternative = (
        f"{counted(len(times), 'trip time')} of {counted(times['device'].nunique(), 'device')}; {fails:,} fail"
        f"{f', of which {held:,} did not trip' if held else ''}. The table below gives fastest, median and slowest "
        "beside each limit."
    )
    return Picture(
        name="times",
        title="Trip times against their limits",
        caption="Each mark is one trip time, device by device in the order of the sheet; the line is its limit. Lower "
        "is faster. The scale is logarithmic: each step up is a doubling or more. What did not trip stands on top.",
        alternative=alternative,
        plots=tuple(plots),
        head=("Test", "Limit", "Readings", "Fastest", "Median", "Slowest", "Over the limit", "Did not trip"),
        rows=tuple(_summary(times)),
        key=key_of(plots),
    )


def trip_times(audit: Audit) -> pd.DataFrame:
    """Trip times at the rated current or more that tripped, or were watched and held: one row each."""
    readings, verdicts = audit.tables.readings, audit.verdicts
    is_time = np.array([s.quantity == "trip_time" for s in audit.tables.slots], dtype=bool)
    time = is_time[readings["slot"].to_numpy()] if len(is_time) else np.zeros(0, dtype=bool)
    state, value = readings["state"].to_numpy(), readings["value"].to_numpy()
    held = (state == State.NOT_TRIPPED) | ((readings["bound"].to_numpy() == Bound.ABOVE) & (state != State.UNREADABLE))
    shown = time & (verdicts["multiple"].to_numpy() >= 1) & (held | ((state == State.TRIPPED) & (value > 0)))
    at = np.flatnonzero(shown & audit.test_outcomes["counted"].to_numpy()[readings["test"].to_numpy()])
    test = readings["test"].to_numpy()[at]
    return pd.DataFrame(
        {
            "test": test,
            "device": audit.test_outcomes["device"].to_numpy()[test],
            "multiple": verdicts["multiple"].to_numpy()[at],
            "value": value[at],
            "held": held[at],
            "limit": verdicts["limit"].to_numpy()[at],
            "verdict": verdicts["verdict"].to_numpy()[at],
        }
    )


def _plot(audit: Audit, times: pd.DataFrame, multiple: float) -> Plot:
    places, device = np.unique(times["device"].to_numpy(), return_inverse=True)
    x = (device + 0.5) * 100 / len(places)
    value, held = times["value"].to_numpy(), times["held"].to_numpy()
    limits = times["limit"].to_numpy()
    known = np.concatenate([value[~held], limits[np.isfinite(limits)]])
    scale = Log.over(known if len(known) else np.array([10.0, 300.0]), HEIGHT - BEYOND)
    with np.errstate(divide="ignore", invalid="ignore"):
        y = np.where(held, BEYOND / 2, HEIGHT - scale.at(np.where(held, scale.high, value)))
    doubted = tests_in_doubt(audit)[times["test"].to_numpy()]
    marks, circles = scatter(x, y, kinds_of(times["verdict"].to_numpy()), doubted)
    names = audit.devices["name"].to_numpy()[places]
    runs = _limit_runs(device, limits, len(places))

    ticks = [(round(HEIGHT - float(scale.at(t)), 1), f"{t:g}") for t in scale.ticks()]

    def level(limit: float) -> float:
        return round(HEIGHT - float(scale.at(limit)), 1)

    return Plot(
        height=HEIGHT,
        title=f"At {multiple:g}× the rated residual current",
        across="devices, in the order of the sheet",
        down="trip time, ms",
        ticks_across=_names(names),
        ticks_down=(
            *(tick for tick in ticks if tick[0] > BEYOND or not held.any()),
            *([(BEYOND / 2, "no trip")] if held.any() else []),
        ),
        lines=tuple(Line("limit", start, level(limit), end, level(limit)) for limit, start, end in runs),
        circles=circles,
        marks=marks,
        words=_for_phones(_limit_words(runs, level), _labels(times["verdict"].to_numpy(), x, y, names[device])),
    )


def _names(names: Texts) -> tuple[tuple[float, str], ...]:
    """First, middle and last device by name."""
    n = len(names)
    picked = sorted({0, n // 2, n - 1}) if n > 2 else range(n)
    return tuple((round((i + 0.5) * 100 / n, 2), cut(visible(str(names[i])), 14)) for i in picked)


def _limit_runs(device: Counts, limits: Numbers, n: int) -> list[tuple[float, float, float]]:
    """Stretches of devices with one limit: limit in ms, start and end in per cent.

    Where it changes too often to be drawn, each limit runs over the whole width.
    """
    of_device = np.full(n, np.nan)
    of_device[device] = limits
    edges = np.flatnonzero(np.r_[True, ~np.isclose(of_device[1:], of_device[:-1], equal_nan=True)])
    if len(edges) > STEPS:
        return [(float(v), 0.0, 100.0) for v in np.unique(of_device[np.isfinite(of_device)])]
    ends = np.r_[edges[1:], n]
    runs = zip(of_device[edges], edges * 100 / n, ends * 100 / n, strict=True)
    return [(float(v), round(float(a), 2), round(float(b), 2)) for v, a, b in runs if np.isfinite(v)]


def _limit_words(runs: list[tuple[float, float, float]], level: Callable[[float], float]) -> list[Words]:
    """The value of each limit at its longest stretch, and then over every short stretch where they are few."""
    longest = {limit: (start, end) for limit, start, end in sorted(runs, key=lambda run: run[2] - run[1])}
    words = []
    for limit, start, end in sorted(runs, key=lambda run: longest[run[0]] != run[1:]):
        above, middle = round(level(limit) - 5, 1), (start + end) / 2
        if end - start > ROOM and longest[limit] == (start, end):
            words.append(Words(f"limit {number(limit)} ms", round(start + 0.3, 2), above))
        elif end - start <= ROOM and (len(runs) <= FEW or longest[limit] == (start, end)):
            side = "start" if middle < EDGE else "end" if middle > 100 - EDGE else "middle"
            words.append(Words(f"{number(limit)} ms", round(middle, 2), above, side))
    return words


def _labels(verdict: npt.NDArray[np.int8], x: Numbers, y: Numbers, names: Texts) -> list[Words]:
    """Names of the failing devices, where they are few; left out where one would stand on another."""
    at = np.flatnonzero(verdict == Verdict.FAIL)
    _, first = np.unique(x[at], return_index=True)
    words: list[Words] = []
    for i in at[first] if len(first) <= LABELLED else ():
        side = "start" if x[i] < EDGE else "end" if x[i] > 100 - EDGE else "middle"
        beside = round(float(y[i]) + (20 if y[i] < BEYOND else -10), 1)
        if all(abs(w.x - x[i]) > ROOM or abs(w.y - beside) > LINE for w in words):
            words.append(Words(cut(visible(str(names[i])), 14), round(float(x[i]), 2), beside, side))
    return words


def _for_phones(limits: Sequence[Words], names: Sequence[Words]) -> tuple[Words, ...]:
    """All words; what would stand on an earlier one on a phone is left out there. Each limit is named once first."""
    out: list[Words] = []
    for word in (*limits, *names):
        shown = [other for other in out if not other.wide]
        clash = any(abs(_middle(word) - _middle(o)) < NARROW and abs(word.y - o.y) <= LINE for o in shown)
        out.append(replace(word, wide=clash))
    return tuple(out)


def _middle(word: Words) -> float:
    return word.x + {"start": 0.5, "middle": 0.0, "end": -0.5}[word.end] * NARROW


def _summary(times: pd.DataFrame) -> list[tuple[str, ...]]:
    rows = []
    for (multiple, limit), group in times.groupby(["multiple", "limit"], dropna=False, sort=True):
        ran = group.loc[~group["held"], "value"]
        over = int(((group["verdict"] == Verdict.FAIL) & ~group["held"]).sum())
        ends = [f"{number(v)} ms" for v in (ran.min(), round(ran.median(), 6), ran.max())] if len(ran) else ["none"] * 3
        shown = f"{number(limit)} ms" if np.isfinite(limit) else "none"
        rows.append((f"{multiple:g}×", shown, f"{len(group):,}", *ends, f"{over:,}", f"{int(group['held'].sum()):,}"))
    return rows
