"""A tiny builder of Tables for tests of scrutiny: columns in, everything else filled in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import rules
from rcdcheck import tables as frames
from rcdcheck.findings import Findings
from rcdcheck.scrutiny import scrutinise
from rcdcheck.sheet_fields import FLAG_FIELDS, TEXT_FIELDS
from rcdcheck.tables import Input, Tables, Vocabulary
from rcdcheck.terms import Bound, Flag, State, slot_named

RULES = rules.load("anz-in-service")


def sheet(**columns: Any) -> pd.DataFrame:
    """A sheet of typed columns named as in test-sheet.json; scalars fill all rows."""
    return pd.DataFrame(columns)


def tables(
    sheets: Sequence[pd.DataFrame],
    *,
    kind: str = "xlsx",
    saved_at: str | None = None,
    cells: Sequence[tuple[int, int, int, str, str]] = (),
) -> Tables:
    """One input a sheet; row 1 holds the headings. A reading may be a number, None, or "no trip"."""
    words = Vocabulary()
    tests, readings = [], []
    fields = list(dict.fromkeys(name for frame in sheets for name in frame if slot_named(str(name))))
    slots = tuple(slot for name in fields if (slot := slot_named(str(name))) is not None)
    for number, frame in enumerate(sheets):
        start = sum(len(f) for f in sheets[:number])
        tests.append(_tests(frame, number, words))
        for i, name in enumerate(fields):
            if name in frame:
                readings.append(_readings(frame[name], start, i, list(frame).index(name)))
    n = len(sheets)
    by_test = pd.concat([frames.empty(frames.READINGS), *readings])
    return Tables(
        inputs=tuple(Input(f"sheet-{i + 1}.xlsx", None, "", 0, "audited") for i in range(n)),
        sheets=_filled(frames.SHEETS, n, input=np.arange(n), sheet="Tests", kind=kind, hidden=False,
                       saved_at=pd.Timestamp(saved_at) if saved_at else pd.NaT, reason=""),
        columns=frames.empty(frames.COLUMNS),
        tests=pd.concat(tests, ignore_index=True).astype(frames.TESTS),
        readings=by_test.sort_values(["test", "slot"], ignore_index=True).astype(frames.READINGS),
        rows=frames.empty(frames.ROWS),
        passed_over=frames.empty(frames.PASSED_OVER),
        cells=pd.DataFrame(list(cells), columns=list(frames.CELLS)).astype(frames.CELLS),
        unsettled=frames.empty(frames.UNSETTLED),
        slots=slots,
        vocabulary=words.frozen(),
    )  # fmt: skip


def audit(read: Tables) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Questions and findings; a device is its name within its site."""
    key = pd.MultiIndex.from_frame(read.tests[["site", "device"]])
    device = pd.factorize(key)[0].astype(np.int32)
    found = Findings()
    counted = np.ones(len(read.tests), dtype=bool)
    questions = scrutinise(read, counted, device, RULES, found)
    return questions, found.frame()


def _tests(frame: pd.DataFrame, number: int, words: Vocabulary) -> pd.DataFrame:
    n = len(frame)
    out = _filled(frames.TESTS, n, sheet=number, row=np.arange(n) + 2, rated_residual_current=30.0)
    for name in TEXT_FIELDS:
        if name in frame:
            out[name] = words.codes(frame[name].astype(str))
    for name in FLAG_FIELDS:
        out[name] = frame.get(name, Flag.ABSENT)
    at = (
        pd.to_datetime(frame["tested_at"])
        if "tested_at" in frame
        else pd.Series(pd.Timestamp("2026-11-20"), frame.index)
    )
    out["tested_at"] = at.to_numpy()
    out["clock_known"] = (at != at.dt.normalize()).to_numpy()
    return out


def _readings(typed: pd.Series[Any], start: int, slot: int, column: int) -> pd.DataFrame:
    held = np.flatnonzero(typed.notna().to_numpy())
    texts = typed.to_numpy(dtype=object)[held]
    none = np.array([t == "no trip" for t in texts], dtype=bool)
    values = np.array([np.nan if t == "no trip" else float(t) for t in texts], dtype=np.float64)
    return _filled(
        frames.READINGS, len(held), test=held + start, slot=slot, value=np.round(values, 6), row=held + 2,
        state=np.where(none, State.NOT_TRIPPED, State.TRIPPED), bound=Bound.EXACT, test_current=np.nan, column=column,
    )  # fmt: skip


def _filled(dtypes: Mapping[str, str], n: int, **values: Any) -> pd.DataFrame:
    blank: dict[str, Any] = {"object": "", "bool": False, "datetime64[us]": pd.NaT}
    columns = {name: pd.Series([blank.get(t, 0)] * n, dtype=t) for name, t in dtypes.items()}
    return pd.DataFrame(columns).assign(**values).astype(dict(dtypes))


def honest(n: int, seed: int, decimals: int = 1) -> dict[str, npt.NDArray[Any]]:
    """Readings of an honest day: devices differ, phases differ, instruments are noisy."""
    rng = np.random.default_rng(seed)
    base = rng.lognormal(np.log(27), 0.15, n)
    half = rng.normal(0, 2.5, n) / 2
    return {
        "trip_time_1x_0": np.round(base + half + rng.normal(0, 0.3, n), decimals),
        "trip_time_1x_180": np.round(base - half + rng.normal(0, 0.3, n), decimals),
        "trip_current": np.round(30 * rng.normal(0.77, 0.05, n), decimals),
    }
