"""Tests that the register holds already: the same device, outlet, day and readings, and nothing said otherwise.

A workbook that grows, a corrected copy or a summary lists tests again; they are counted once. A test of which the look-
over, the button, the declared result or the remark reads otherwise now is not the same; of further checks
the register holds no word, and a test that fails one is always told anew.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from rcdcheck.reading_marks import reading_marks
from rcdcheck.register.keys import name_key, of_codes
from rcdcheck.register.store import Register
from rcdcheck.sheet_fields import CHECKED_FIELDS
from rcdcheck.tables import Codes, Mask, Tables
from rcdcheck.terms import Flag

SAME = ("visual", "push_button", "declared", "remark", "remedy", "mark")


def listed_before(register: Register, tables: Tables, device: Codes, known: pd.Series[int]) -> Mask:
    """Shape (tests,); `known` is the number in the register of each device of the run."""
    connection = register.connection
    connection.execute("CREATE TEMP TABLE IF NOT EXISTS recalled (device INTEGER PRIMARY KEY)")
    connection.execute("DELETE FROM recalled")
    connection.executemany("INSERT OR IGNORE INTO recalled VALUES (?)", ((int(d),) for d in known))
    names = ", ".join(f"t.{name}" for name in SAME)
    rows = register.rows(
        f"SELECT s.device, t.outlet, coalesce(t.day, ''), {names} FROM recalled CROSS JOIN sightings s"
        " USING (device) CROSS JOIN visits v ON v.id = s.visit CROSS JOIN tests t ON t.sighting = s.id"
        " WHERE v.replaced_by IS NULL"
    )
    columns = ["known", "outlet", "day", *SAME]
    held = pd.DataFrame(rows, columns=columns)
    held["outlet"] = held["outlet"].map(name_key)
    tests = tables.tests
    mine = pd.DataFrame({
        "known": known.to_numpy()[device],
        "outlet": of_codes(tables, tests["outlet"], name_key) if len(tests) else [],
        "day": tests["tested_at"].dt.strftime("%Y-%m-%d").fillna(""),
        **{name: tests[name].astype(int) for name in ("visual", "push_button", "declared")},
        **{name: tables.texts(tests[name]) for name in ("remark", "remedy")},
        "mark": reading_marks(tables),
    })  # fmt: skip
    if held.empty:
        return pd.Series(False, index=mine.index).to_numpy()
    not_held = tests[[name for name in CHECKED_FIELDS if name not in SAME]]
    fails = np.isin(not_held.to_numpy(), (Flag.FAIL, Flag.UNCLEAR)).any(axis=1)
    same: Mask = pd.MultiIndex.from_frame(mine).isin(pd.MultiIndex.from_frame(held[columns])) & ~fails
    return same
