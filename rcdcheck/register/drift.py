"""Which devices get slower, or need more current, from visit to visit, and when they would reach their limit.

A device of five or more visits has a slope of its own (Theil and Sen, with its interval); it is a caution where the
interval lies above zero and the line reaches the limit before as much time has passed again as was seen. Devices of
fewer visits are pooled by model: the median of their slopes, and a sign test.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from rcdcheck import data
from rcdcheck.history import Drift, ModelDrift
from rcdcheck.register.statistics import crossing, sign_test, theil_sen

if TYPE_CHECKING:
    from rcdcheck.tables import Numbers

YEAR = 365.25
LISTED = 200  # drifts that are kept, those nearest to their limit


def drifts(points: pd.DataFrame) -> list[Drift]:
    """Series whose slope of their own points to the limit, the first to reach it first; see series.points."""
    out: list[Drift] = []
    chosen = data.toml("register.toml")["drift"]
    for number, x, y, limit in _by_length(points, least=chosen["visits"]):
        slopes = _median_slopes(x, y)
        with np.errstate(divide="ignore", invalid="ignore"):
            reached = np.median(x, axis=1) + (limit - np.median(y, axis=1)) / slopes
        span = x[:, -1] - x[:, 0]
        near = (slopes > 0) & (reached <= x[:, -1] + span)
        for i in np.flatnonzero(near):
            slope = theil_sen(x[i], y[i], chosen["level"])
            if slope.low > 0:
                day, between = crossing(x[i], y[i], float(limit[i]), slope)
                out.append(
                    Drift(
                        series=int(number[i]),
                        visits=x.shape[1],
                        slope=slope.middle * YEAR,
                        low=slope.low * YEAR,
                        high=slope.high * YEAR,
                        last=float(y[i, -1]),
                        limit=float(limit[i]),
                        reached=_day(day),
                        earliest=_day(between.low),
                    )
                )
    return sorted(out, key=lambda one: (one.reached, one.series))


def _day(days: float) -> str:
    return str(np.datetime64(0, "D") + np.timedelta64(int(max(days, -(10**6))), "D")) if np.isfinite(days) else ""


def _by_length(points: pd.DataFrame, least: int) -> Iterator[tuple[np.ndarray, Numbers, Numbers, Numbers]]:
    """Series with a limit, those of one length together: number (m,), days (m, n), values (m, n), limit (m,)."""
    known = points[points["series"].map(points.groupby("series")["limit"].last()).notna()]
    lengths = known.groupby("series")["series"].transform("size")
    for n in sorted(lengths[lengths >= least].unique()):
        mine = known[lengths == n]
        shape = (-1, int(n))
        limit = mine["limit"].to_numpy().reshape(shape)[:, -1]
        x, y = (mine[name].to_numpy(dtype=np.float64).reshape(shape) for name in ("day", "value"))
        kept = ~np.isnan(limit)
        yield mine["series"].to_numpy().reshape(shape)[kept, 0], x[kept], y[kept], limit[kept]


def _median_slopes(x: Numbers, y: Numbers) -> Numbers:
    first, second = np.triu_indices(x.shape[1], 1)
    return np.median((y[:, second] - y[:, first]) / (x[:, second] - x[:, first]), axis=1)


def of_models(points: pd.DataFrame, models: pd.Series[str]) -> list[ModelDrift]:
    """Models whose devices of few visits drift together; `models` is the model of each device, empty where unknown."""
    chosen = data.toml("register.toml")["drift"]
    parts = []
    for number, x, y, _ in _by_length(points, least=chosen["pooled_visits"]):
        if x.shape[1] < chosen["visits"]:
            parts.append(pd.DataFrame({"series": number, "slope": _median_slopes(x, y) * YEAR}))
    if not parts:
        return []
    first = points.drop_duplicates("series").set_index("series")
    slopes = pd.concat(parts, ignore_index=True).join(first[["device", "slot"]], on="series")
    slopes["model"] = models.reindex(slopes["device"]).to_numpy()
    each = slopes[slopes["model"] != ""].groupby(["model", "slot", "device"], as_index=False)["slope"].median()
    out = []
    for (model, slot), mine in each.groupby(["model", "slot"]):
        chance = sign_test(mine["slope"].to_numpy())
        if len(mine) >= chosen["devices"] and chance <= chosen["pooled_level"]:
            out.append(ModelDrift(str(model), str(slot), len(mine), float(mine["slope"].median()), chance))
    return out
