"""Readings against their limits: for the office with where they were typed, for the client with the test current."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

from rcdcheck.audits import Audit
from rcdcheck.judging.reasons import messages, shown_value
from rcdcheck.reports.excel.places import EMPTY, Places, cell, chunks, device_link, moment
from rcdcheck.reports.excel.style import FORMATS
from rcdcheck.reports.excel.tables import Block, Column, Measure, Sheet
from rcdcheck.reports.html.devices import as_shown, decimals
from rcdcheck.reports.json_document import ALL_DEVICES, listed_readings
from rcdcheck.terms import Bound, State, Verdict, current_of_test

Row = tuple[object, ...]
VERDICTS = {verdict: verdict.word.replace("_", " ") for verdict in Verdict}
READING = (
    Column("Device", "id", 30), Column("Site", "text", 24), Column("Outlet", "id", 12), Column("Tested", "date", 16),
    Column("Quantity", "text", 36), Column("Reading", "number", 14), Column("Typed", "id", 20),
    Column("Verdict", "word", 12), Column("Limit", "number", 12), Column("Test current", "mA", 12),
    Column("Chance of conforming", "share", 12), Column("Remark", "text", 50), Column("Limit in words", "line", 40),
    Column("Source of the limit", "line", 50), Column("File", "line", 30), Column("Sheet", "line", 18),
    Column("Cell", "id", 10),
)  # fmt: skip
FOR_CLIENT = ("Device", "Site", "Outlet", "Tested", "Quantity", "Test current", "Reading", "Limit", "Verdict",
              "Limit in words")  # fmt: skip


def readings(audit: Audit) -> Sheet:
    """Every reading with its verdict and limit; past 20,000 devices those that are not a plain pass."""
    listed, held = _listed(audit)
    sentence = f"{held}; columns after Remark are not printed. {EMPTY}"
    block = Block("Readings", READING, _readings(audit, listed), none="No reading to list.")
    return Sheet("Readings", "Readings", sentence, [block], printed=12)


def client_readings(audit: Audit) -> Sheet:
    """Readings as a client gets them: the test current beside each time, without where it was typed."""
    listed, held = _listed(audit)
    kept = [[column.title for column in READING].index(title) for title in FOR_CLIENT]
    rows = (tuple(row[i] for i in kept) for row in _readings(audit, listed))
    block = Block("Readings", [READING[i] for i in kept], rows, none="No reading to list.")
    return Sheet("Readings", "Readings", f"{held}.", [block])


def _listed(audit: Audit) -> tuple[npt.NDArray[np.int64], str]:
    """Numbers of the readings to list, as many as the JSON document lists, and what that is in words."""
    listed = listed_readings(audit, "all" if len(audit.devices) <= ALL_DEVICES else "")
    left_out = len(audit.verdicts) - len(listed)
    if left_out:
        return listed, f"Readings that are not a plain pass: {len(listed):,}; {left_out:,} plain passes are left out"
    return listed, "Each number that an instrument showed, against its limit"


def _readings(audit: Audit, listed: npt.NDArray[np.int64]) -> Iterator[Row]:
    tables, places = audit.tables, Places(audit)
    limits = [np.array([*audit.limits[name], ""], dtype=object) for name in ("text", "source")]
    for at in chunks(listed):
        read, judged = tables.readings.iloc[at], audit.verdicts.iloc[at]
        tests = tables.tests.iloc[read["test"].to_numpy()]
        number = audit.test_outcomes["device"].to_numpy()[read["test"].to_numpy()]
        beside = zip(
            number.tolist(), audit.devices["name"].to_numpy()[number].tolist(), tables.texts(tests["site"]).tolist(),
            tables.texts(tests["outlet"]).tolist(), tests["tested_at"], _currents(read, judged, tests).tolist(),
            _remarks(audit, at), *(text[judged["limit_id"]].tolist() for text in limits),
            places.files(tests["sheet"].to_numpy()), places.sheets(tests["sheet"].to_numpy()), strict=True,
        )  # fmt: skip
        for r, v, (n, name, site, outlet, tested, current, remark, words, source, file, sheet) in zip(
            read.itertuples(), judged.itertuples(), beside, strict=True
        ):
            slot = tables.slots[r.slot]._replace(multiple=v.multiple)
            yield (
                device_link(name, n), site, outlet, moment(tested), slot.title,
                shown_reading(r, slot.unit, tables.vocabulary[r.text]), tables.vocabulary[r.text],
                VERDICTS[Verdict(v.verdict)], Measure(v.limit, slot.unit), current,
                round(v.p_conform, 4), remark, words, source, file, sheet, cell(r.row, r.column),
            )  # fmt: skip


def shown_reading(reading: Any, unit: str, typed: str) -> Measure | str:
    """The number with its unit and the decimals that were typed, or words: `no trip`, `> 300 ms`."""
    if reading.state == State.TRIPPED and reading.bound == Bound.EXACT and reading.value == reading.value:
        n = decimals(as_shown(reading.value, typed))
        return Measure(reading.value, f"{unit} {n}" if f"{unit} {n}" in FORMATS else unit)
    return shown_value(reading.value, reading.state, reading.bound, unit)


def _currents(readings: Any, judged: Any, tests: Any) -> npt.NDArray[np.float64]:
    """Test current of each trip time in mA: as the sheet states it, else its multiple of the rated current."""
    stated = readings["test_current"].to_numpy()
    current = current_of_test(stated, judged["multiple"].to_numpy(), tests["rated_residual_current"].to_numpy())
    return np.where(current > 0, np.round(current, 6), np.nan)


def _remarks(audit: Audit, at: npt.NDArray[np.int64]) -> list[str]:
    """The sentence of each reading that has a reason, empty for the others."""
    out = np.full(len(at), "", dtype=object)
    noted = np.flatnonzero(audit.verdicts["reason"].to_numpy()[at] != "")
    if len(noted):
        out[noted] = messages(audit.tables, audit.verdicts, at[noted])
    return out.tolist()
