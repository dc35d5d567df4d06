"""Everything that a run shows over time, added to its history and raised as findings: drift, jumps, failure rates."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from rcdcheck.findings import Findings
from rcdcheck.history import POINTS, Drift, History, Jump
from rcdcheck.judging.devices import Outcomed
from rcdcheck.options import Options
from rcdcheck.register.drift import drifts, of_models
from rcdcheck.register.jumps import jumps
from rcdcheck.register.rates import rates
from rcdcheck.register.series import points
from rcdcheck.register.store import Register
from rcdcheck.tables import Tables
from rcdcheck.terms import slot_named

SHOWN = ("site", "model", "technician")  # failure rates of the sites of a run


def added(
    register: Register,
    history: History,
    tables: Tables,
    verdicts: pd.DataFrame,
    decided: Outcomed,
    options: Options,
    found: Findings,
) -> History:
    """The history with what its visits show together."""
    series = points(register, history, tables, verdicts, decided, options).astype(POINTS)
    device = decided.tests["device"].to_numpy()
    days = tables.tests["tested_at"].to_numpy().astype("datetime64[D]")
    dated = ~np.isnat(days)
    latest = pd.Series(days[dated].astype(np.int64), index=device[dated]).groupby(level=0).max()
    known = [place.number for place in history.places if place.known]
    history = replace(
        history,
        points=series,
        drifts=tuple(drifts(series)),
        models=tuple(of_models(series, _models(tables, device))),
        jumps=tuple(jumps(series, latest)),
        rates=tuple(rate for by in SHOWN if known for rate in rates(register, by, known)),
    )
    _raise(history, tables, device, found)
    return history


def _models(tables: Tables, device: np.ndarray) -> pd.Series[str]:
    """Model of each device, the first that is stated, without case."""
    codes = tables.tests["model"].to_numpy()
    stated = codes > 0
    names = pd.Series(tables.texts(codes[stated]), index=device[stated], dtype="object").groupby(level=0).first()
    return names.reindex(np.arange(int(device.max(initial=-1)) + 1)).fillna("")


def _raise(history: History, tables: Tables, device: np.ndarray, found: Findings) -> None:
    last = pd.Series(np.arange(len(device)), index=device).groupby(level=0).last()
    of = history.points.drop_duplicates("series").set_index("series")
    for drift in history.drifts:
        slopes = {name: f"{getattr(drift, name):.3g}" for name in ("slope", "low", "high")}
        told: dict[str, Any] = slopes | {"visits": drift.visits, "limit": f"{drift.limit:g}", "day": drift.reached}
        _one("drifting-to-its-limit", drift, of, last, tables, found, **told)
    whole: set[int] = set()
    for jump in history.jumps:
        owner = int(of["device"][jump.series])
        code = "perhaps-replaced" if jump.whole_device else "jump-since-the-last-visit"
        if owner not in whole:
            _one(code, jump, of, last, tables, found, before=f"{jump.before:g}", now=f"{jump.now:g}")
        if jump.whole_device:
            whole.add(owner)


def _one(
    code: str,
    about: Drift | Jump,
    of: pd.DataFrame,
    last: pd.Series[int],
    tables: Tables,
    found: Findings,
    **words: Any,
) -> None:
    slot = slot_named(str(of["slot"][about.series]))
    test = int(last[int(of["device"][about.series])])
    what, unit = (slot.title, slot.unit) if slot else ("reading", "")
    place: dict[str, Any] = {"sheet": int(tables.tests["sheet"].iloc[test]), "row": int(tables.tests["row"].iloc[test])}
    found.add(code, **place, test=test, what=what[:1].upper() + what[1:], unit=unit, **words)
