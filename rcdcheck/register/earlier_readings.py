"""The earlier readings of a register, side by side, for the questions that ask whether they were used again.

Each visit keeps its rows in entry order as three arrays of numbers, so that a register of a million tests is looked
through in the time in which its file is read.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.history import History
from rcdcheck.register.keys import name_key, of_codes
from rcdcheck.register.store import Register
from rcdcheck.scrutiny.used_again import Earlier
from rcdcheck.tables import Codes, Numbers, Tables

MOST = 12  # earlier visits whose devices are compared one by one, the latest


def keep(register: Register, visit: int, devices: npt.NDArray[np.int64], *readings: Numbers) -> None:
    """Keep the rows of a visit: device, time at 0°, time at 180° and ramp of each test, NaN where there is none."""
    blobs = [np.ascontiguousarray(devices, dtype="<i8").tobytes()]
    blobs += [np.ascontiguousarray(values, dtype="<f8").tobytes() for values in readings]
    register.connection.execute("INSERT INTO sequences VALUES (?, ?, ?, ?, ?)", (visit, *blobs))


def earlier_readings(register: Register, tables: Tables, device: Codes, history: History) -> Earlier:
    """Everything that the questions look at; `device` is that of each test of the run."""
    rows = register.rows(
        "SELECT s.visit, v.file, v.last_day, s.device, s.time0, s.time180 FROM sequences s"
        " JOIN visits v ON v.id = s.visit WHERE v.replaced_by IS NULL ORDER BY s.visit"
    )
    titles = {int(row[0]): f"{row[1]}, tested up to {row[2] or 'no day'} (visit {row[0]})" for row in rows}
    owners = [np.frombuffer(row[3], dtype="<i8") for row in rows]
    known = history.devices["known"].to_numpy()[device] if len(device) else np.zeros(0, dtype=np.int64)

    def column(at: int) -> Numbers:
        return np.concatenate([np.frombuffer(row[at], dtype="<f8") for row in rows] or [np.zeros(0)])

    return Earlier(
        visits=_aligned(register, tables, known),
        known=known.astype(np.int64),
        device=np.concatenate(owners or [np.zeros(0, dtype=np.int64)]),
        visit=np.repeat([int(row[0]) for row in rows], [len(o) for o in owners]).astype(np.int64),
        time0=column(4),
        time180=column(5),
        titles=titles,
    )


def _aligned(
    register: Register, tables: Tables, known: npt.NDArray[np.int64]
) -> tuple[tuple[str, Numbers, Numbers, Numbers], ...]:
    """Readings of the devices of the run at their latest visits; a test of the same day is the same test."""
    if not len(tables.tests):
        return ()
    rows = register.rows(
        """SELECT s.visit, v.file, s.device, t.outlet, coalesce(t.day, ''), n.name, r.value FROM recalled
        CROSS JOIN sightings s USING (device) CROSS JOIN visits v ON v.id = s.visit
        CROSS JOIN tests t ON t.sighting = s.id CROSS JOIN readings r ON r.test = t.id
        CROSS JOIN slots n ON n.id = r.slot
        WHERE v.replaced_by IS NULL AND r.state = 0 AND r.bound = 0 AND r.value > 0"""
    )
    held = pd.DataFrame(rows, columns=["visit", "file", "known", "outlet", "day", "slot", "value"])
    tests = tables.tests
    mine = pd.DataFrame({
        "known": known, "outlet": of_codes(tables, tests["outlet"], name_key),
        "today": tests["tested_at"].dt.strftime("%Y-%m-%d").fillna(""), "test": np.arange(len(tests)),
    })  # fmt: skip
    held["outlet"] = held["outlet"].map(name_key)
    pairs = held.merge(mine, on=["known", "outlet"])
    pairs = pairs[(pairs["day"] == "") | (pairs["day"] < pairs["today"])]
    out = []
    for visit in sorted(pairs["visit"].unique(), reverse=True)[:MOST]:
        here = pairs[pairs["visit"] == visit]
        time0, time180, ramp = (
            _column(here[here["slot"].isin(slots)], len(tests))
            for slots in (FIRST, ("trip_time_1x_180",), ("trip_current",))
        )
        out.append((f"{here['file'].iloc[0]}, visit {visit}", time0, time180, ramp))
    return tuple(out)


FIRST = ("trip_time_1x_0", "trip_time_1x", "trip_time_1x_worst")


def _column(rows: pd.DataFrame, n: int) -> Numbers:
    out = np.full(n, np.nan)
    out[rows["test"].to_numpy()] = rows["value"].to_numpy()
    return out
