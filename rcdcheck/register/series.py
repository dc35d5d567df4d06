"""Readings of the devices of a run over all their visits: one series for each device, outlet and kind of reading.

Only plain numbers at the rated current and of a ramp count, the worst of each day. A series begins anew where a remedy
is on record: at the visit itself where the device passed it, after it where it failed.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.history import History
from rcdcheck.judging.devices import Outcomed
from rcdcheck.options import Options
from rcdcheck.register.keys import name_key, of_codes
from rcdcheck.register.recall import remedied
from rcdcheck.register.store import Register
from rcdcheck.tables import Tables
from rcdcheck.terms import Bound, Outcome, State

SLOTS = ("trip_time_1x", "trip_time_1x_0", "trip_time_1x_180", "trip_time_1x_worst", "trip_current")
POINTS = ["device", "outlet", "slot", "day", "value", "limit"]  # day: days since 1970; value, limit: ms or mA
KEY = ["device", "outlet", "slot"]


def points(
    register: Register, history: History, tables: Tables, verdicts: pd.DataFrame, decided: Outcomed, options: Options
) -> pd.DataFrame:
    """POINTS in order of KEY and day, with `series` numbering them; `device` is that of the run."""
    device = decided.tests["device"].to_numpy()
    known = history.devices["known"]
    earlier, begun = _earlier(register)
    number = pd.Series(np.arange(len(known)), index=known.to_numpy())
    number = number[~number.index.duplicated()]
    earlier["device"] = number.reindex(earlier["device"]).to_numpy()
    begun.index = number.reindex(begun.index).to_numpy()
    today = _today(tables, verdicts, history, device)
    mended = remedied(tables, options) & (decided.tests["outcome"].to_numpy() != Outcome.FAIL)
    days = tables.tests["tested_at"].to_numpy().astype("datetime64[D]")
    now = pd.Series(days.astype(np.int64)[mended & ~np.isnat(days)], index=device[mended & ~np.isnat(days)])
    begun = pd.concat([begun, now]).groupby(level=0).max()
    out = pd.concat([earlier, today], ignore_index=True)
    out = out[out["day"] >= out["device"].map(begun).fillna(0)]
    out = out.groupby([*KEY, "day"], sort=True, as_index=False).agg({"value": "max", "limit": "last"})
    return out.assign(series=out.groupby(KEY, sort=True).ngroup())


def _earlier(register: Register) -> tuple[pd.DataFrame, pd.Series[int]]:
    """Points of the devices that `listed_before` put into `recalled`, and the day from which each begins anew."""
    wanted = ", ".join(f"'{name}'" for name in SLOTS)
    rows = register.rows(
        f"""SELECT s.device, t.outlet, n.name, julianday(t.day) - 2440587.5, r.value, r."limit"
        FROM recalled CROSS JOIN sightings s USING (device) CROSS JOIN visits v ON v.id = s.visit
        CROSS JOIN tests t ON t.sighting = s.id CROSS JOIN readings r ON r.test = t.id
        CROSS JOIN slots n ON n.id = r.slot
        WHERE v.replaced_by IS NULL AND t.day IS NOT NULL AND n.name IN ({wanted})
            AND r.state = {int(State.TRIPPED)} AND r.bound = {int(Bound.EXACT)} AND r.value > 0"""
    )
    out = pd.DataFrame(rows, columns=POINTS)
    out["outlet"] = out["outlet"].map(name_key)
    mended = register.rows(
        f"""SELECT s.device, max(julianday(s.at) - 2440587.5 + (s.outcome = {int(Outcome.FAIL)}))
        FROM recalled CROSS JOIN sightings s USING (device) CROSS JOIN visits v ON v.id = s.visit
        WHERE v.replaced_by IS NULL AND s.remedied > 0 GROUP BY s.device"""
    )
    days = {int(device): int(day) for device, day in mended}
    return out, pd.Series(days, dtype="int64")


def _today(tables: Tables, verdicts: pd.DataFrame, history: History, device: np.ndarray) -> pd.DataFrame:
    readings, tests = tables.readings, tables.tests
    names = np.array([slot.name for slot in tables.slots] or [""], dtype=object)[readings["slot"].to_numpy()]
    test = readings["test"].to_numpy()
    at = tests["tested_at"].to_numpy().astype("datetime64[D]")[test]
    plain = (readings["state"].to_numpy() == State.TRIPPED) & (readings["bound"].to_numpy() == Bound.EXACT)
    plain &= (readings["value"].to_numpy() > 0) & np.isin(names, SLOTS) & ~np.isnat(at) & ~history.listed[test]
    outlets = of_codes(tables, tests["outlet"], name_key) if len(tests) else np.zeros(0, dtype=object)
    return pd.DataFrame({
        "device": device[test[plain]], "outlet": outlets[test[plain]], "slot": names[plain],
        "day": at[plain].astype(np.int64), "value": readings["value"].to_numpy()[plain],
        "limit": verdicts["limit"].to_numpy()[plain],
    })  # fmt: skip
