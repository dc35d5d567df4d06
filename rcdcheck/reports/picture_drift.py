"""Readings over the visits that a register knows, as shares of their limits: what climbs, and where it would fail."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pandas as pd

from rcdcheck.records import Audit, Numbers
from rcdcheck.reports.history_facts import series_names
from rcdcheck.reports.pictures import Line, Mark, Picture, Plot, Words

HEIGHT = 300
DRAWN = 8  # series, those that climb most towards their limit
VISITS = 3  # from which a series is drawn
EPOCH = dt.date(1970, 1, 1)


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no series of three visits has a limit."""
    chosen = _chosen(audit)
    if chosen.empty:
        return None
    names = series_names(audit)
    share = chosen["value"] / chosen["limit"]
    first, last = int(chosen["day"].min()), int(chosen["day"].max())
    top = max(1.1, float(share.max()) * 1.08)
    x = 4 + 76 * (chosen["day"].to_numpy() - first) / max(1, last - first)
    y = np.round(HEIGHT - share.to_numpy() / top * HEIGHT, 1)
    kinds = np.where(share > 1, "fail", "pass")
    marks = tuple(Mark(str(k), round(float(a), 2), float(b)) for k, a, b in zip(kinds, x, y, strict=True))
    limit = round(HEIGHT - HEIGHT / top, 1)
    days = sorted(set(chosen["day"]))
    steps = days[:: max(1, len(days) // 5)]
    plot = Plot(
        height=HEIGHT,
        across="day of the visit",
        down="share of its limit",
        ticks_across=tuple((round(4 + 76 * (d - first) / max(1, last - first), 2), _day(d)) for d in steps),
        ticks_down=tuple((round(HEIGHT - s / top * HEIGHT, 1), f"{s:.0%}") for s in (0.25, 0.5, 0.75, 1.0)),
        lines=(Line("limit", 0, limit, 100, limit), *_lines(chosen["series"], x, y)),
        marks=marks,
        words=(Words("limit", 99, limit - 6, "end"), *_names(chosen, names, x, y)),
    )
    told = {drift.series for drift in audit.history.drifts}
    return Picture(
        name="drift",
        title="Drift across visits",
        caption="Each line is one reading of one device over its visits, as a share of its limit: those that climb "
        "most. A line that climbs steadily will cross the limit; one that wanders does not say so.",
        alternative=f"{chosen['series'].nunique()} readings over up to {int(chosen.groupby('series').size().max())} "
        f"visits; {len(told & set(chosen['series']))} of them point to their limit.",
        plots=(plot,),
        head=("Device", "Reading", "Visit", "Value", "Limit"),
        rows=tuple(_numbers(chosen, names)),
        key=(("pass", "within its limit"), *((("fail", "above its limit"),) if (share > 1).any() else ())),
    )


def _chosen(audit: Audit) -> pd.DataFrame:
    """Points of the series to draw: those that point to their limit first, then by climb from first to last visit."""
    points = audit.history.points
    by = points.groupby("series")
    ends = pd.DataFrame({"n": by.size(), "limit": by["limit"].last()})
    ends = ends.assign(first=by["value"].first(), last=by["value"].last())
    ends = ends[(ends["n"] >= VISITS) & ends["limit"].notna()]
    climb = (ends["last"] - ends["first"]) / ends["limit"]
    told = ends.index.isin([drift.series for drift in audit.history.drifts])
    order = np.lexsort([ends.index.to_numpy(), -climb.to_numpy(), ~told])
    kept = ends.index[order][:DRAWN]
    return points[points["series"].isin(kept) & points["limit"].notna()]


def _numbers(chosen: pd.DataFrame, names: dict[int, dict[str, str]]) -> Iterator[tuple[str, ...]]:
    for point in chosen.itertuples():
        named = names[int(point.series)]
        value = f"{point.value:g} {named['unit']}"
        yield named["device"], named["reading"], _day(int(point.day)), value, f"{point.limit:g}"


def _lines(series: pd.Series[int], x: Numbers, y: Numbers) -> list[Line]:
    same = np.flatnonzero(series.to_numpy()[1:] == series.to_numpy()[:-1])
    return [Line("equal", round(float(x[i]), 2), float(y[i]), round(float(x[i + 1]), 2), float(y[i + 1])) for i in same]


def _names(chosen: pd.DataFrame, names: dict[int, dict[str, str]], x: Numbers, y: Numbers) -> list[Words]:
    """The device beside its last point; names that would stand on each other keep 15 pixels apart."""
    ends = np.flatnonzero(~chosen["series"].duplicated(keep="last").to_numpy())
    out, above = [], np.inf
    for i in sorted(ends, key=lambda i: -y[i]):
        at = min(float(y[i]) + 4, above - 15)
        out.append(Words(names[int(chosen["series"].iloc[i])]["device"], round(float(x[i]) + 1.5, 2), round(at, 1)))
        above = at
    return out


def _day(days: int) -> str:
    return str(EPOCH + dt.timedelta(days=int(days)))
