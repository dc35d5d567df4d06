"""Readings over the visits that a register knows, as shares of their limits: what climbs, and where it would fail."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.audits import Audit
from rcdcheck.reports.history_facts import series_names
from rcdcheck.reports.pictures.parts import Line, Mark, Picture, Plot, Words
from rcdcheck.reports.text import counted, cut
from rcdcheck.tables import Numbers

HEIGHT = 300
DRAWN = 6  # devices, those that climb most towards their limit
VISITS = 3  # from which a reading is drawn
LEFT, SEEN, WHOLE = 4, 76, 92  # per cent: where visits begin, the most they take, and with what lies ahead
APART = 15  # pixels between two names
EPOCH = dt.date(1970, 1, 1)


def draw(audit: Audit) -> Picture | None:
    """The picture, or None where no reading of three visits has a limit."""
    chosen = _chosen(audit)
    if chosen.empty:
        return None
    names = series_names(audit)
    share = chosen["value"] / chosen["limit"]
    first, last = int(chosen["day"].min()), int(chosen["day"].max())
    reached = {d.series: _number(d.reached) for d in audit.history.drifts if d.series in set(chosen["series"])}
    end = max([last, *reached.values()])
    top = max(1.1, float(share.max()) * 1.08)

    def across(days: npt.ArrayLike) -> Numbers:
        step = min(SEEN / max(1, last - first), WHOLE / max(1, end - first))
        return np.round(LEFT + step * (np.asarray(days, dtype=np.float64) - first), 2)

    x, y = across(chosen["day"]), np.round(HEIGHT - share.to_numpy() / top * HEIGHT, 1)
    kinds = np.where(share > 1, "fail", "pass")
    limit = round(HEIGHT - HEIGHT / top, 1)
    ends = np.flatnonzero(~chosen["series"].duplicated(keep="last").to_numpy())
    ahead = {int(i): reached[n] for i in ends if (n := int(chosen["series"].iloc[i])) in reached}
    plot = Plot(
        height=HEIGHT,
        across="month of the visit" + (", and ahead of the last" if end > last else ""),
        down="share of its limit",
        ticks_across=tuple((float(across(d)), _day(d)[:7]) for d in _ticks(first, end)),
        ticks_down=tuple((round(HEIGHT - s / top * HEIGHT, 1), f"{s:.0%}") for s in (0.25, 0.5, 0.75, 1.0)),
        lines=(
            Line("limit", 0, limit, 100, limit),
            *_lines(chosen["series"], x, y),
            *(Line("chance", x[i], y[i], float(across(day)), limit) for i, day in ahead.items() if day > last),
        ),
        marks=tuple(Mark(str(k), float(a), float(b)) for k, a, b in zip(kinds, x, y, strict=True)),
        words=(Words("limit", 99, limit - 6, "end"), *_names(chosen, names, x, y, ends, ahead)),
    )
    dashed = " Dotted: where the slope of a reading that points to its limit would lead." if ahead else ""
    return Picture(
        name="drift",
        title="Drift across visits",
        caption="Each line is one device over its visits: that of its readings which climbs most towards its limit. A "
        f"line that climbs steadily will cross the limit; one that wanders does not say so.{dashed}",
        alternative=f"{counted(len(ends), 'device')} over up to {int(chosen.groupby('series').size().max())} visits; "
        f"{counted(len(ahead), 'points', 'point')} to the limit.",
        plots=(plot,),
        head=("Device", "Reading", "Visit", "Value", "Limit"),
        rows=tuple(_numbers(chosen, names)),
        key=(("pass", "within its limit"), *((("fail", "above its limit"),) if (share > 1).any() else ())),
    )


def _chosen(audit: Audit) -> pd.DataFrame:
    """Points of the readings to draw, one a device: those that point to their limit first, then by climb."""
    points = audit.history.points
    by = points.groupby("series")
    ends = pd.DataFrame({"n": by.size(), "limit": by["limit"].last(), "device": by["device"].first()})
    ends = ends.assign(first=by["value"].first(), last=by["value"].last())
    ends = ends[(ends["n"] >= VISITS) & ends["limit"].notna()]
    climb = (ends["last"] - ends["first"]) / ends["limit"]
    told = ends.index.isin([drift.series for drift in audit.history.drifts])
    order = np.lexsort([ends.index.to_numpy(), -climb.to_numpy(), ~told])
    kept = ends.iloc[order].drop_duplicates("device").index[:DRAWN]
    return points[points["series"].isin(kept) & points["limit"].notna()]


def _ticks(first: int, last: int) -> list[int]:
    """Four days evenly apart, fewer where months would stand twice; so many fit on a phone."""
    return [round(float(d)) for d in np.linspace(first, last, min(4, 1 + (last - first) // 31))]


def _numbers(chosen: pd.DataFrame, names: dict[int, dict[str, str]]) -> Iterator[tuple[str, ...]]:
    for point in chosen.itertuples():
        named = names[int(point.series)]
        value = f"{point.value:g} {named['unit']}"
        yield named["device"], named["reading"], _day(int(point.day)), value, f"{point.limit:g}"


def _lines(series: pd.Series[int], x: Numbers, y: Numbers) -> list[Line]:
    same = np.flatnonzero(series.to_numpy()[1:] == series.to_numpy()[:-1])
    return [Line("equal", float(x[i]), float(y[i]), float(x[i + 1]), float(y[i + 1])) for i in same]


def _names(
    chosen: pd.DataFrame,
    names: dict[int, dict[str, str]],
    x: Numbers,
    y: Numbers,
    ends: npt.NDArray[np.int64],
    ahead: dict[int, int],
) -> list[Words]:
    """The device beside its last point, under it where a line leads on; names keep apart, inside the picture."""
    ends = ends[np.argsort(y[ends], kind="stable")]
    at = y[ends] + np.array([APART if i in ahead else 4 for i in ends])
    for i in range(1, len(at)):
        at[i] = max(at[i], at[i - 1] + APART)
    at = np.minimum(at, HEIGHT - 4 - APART * np.arange(len(at))[::-1])
    called = [cut(names[int(chosen["series"].iloc[i])]["device"], 16) for i in ends]
    return [Words(n, float(x[i]) + 1.5, round(float(a), 1)) for n, i, a in zip(called, ends, at, strict=True)]


def _day(days: int) -> str:
    return str(EPOCH + dt.timedelta(days=int(days)))


def _number(day: str) -> int:
    return (dt.date.fromisoformat(day) - EPOCH).days
