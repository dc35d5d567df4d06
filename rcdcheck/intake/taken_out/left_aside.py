"""Sheets that were passed over and name devices of the same file beside something like a reading: these are unclear.

What a sheet says that nobody understood could fail a device, so the device does not pass before somebody has looked.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed, column_letters
from rcdcheck.findings import Findings, catalogue
from rcdcheck.intake.opened.grids import Coded, Grid
from rcdcheck.intake.understood.grammars import READING, Kind, grammars
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.stated import for_sheet, option
from rcdcheck.tables import UNSETTLED, Mask, Texts

CODE = "sheet-left-aside-names-device"
HEADED = 8  # rows from the top in which a heading tells what a column holds
SILENT = ("ignore", "other_test", "tested_at", "retest_due", "calibration_due", "time", "serial",
          "rated_residual_current", "technician", "instrument")  # columns of these fail no device  # fmt: skip
_SAYS = READING | Kind.MILLISECONDS | Kind.NO_TRIP | Kind.FAIL | Kind.FAULT | Kind.BOUND


@dataclass(frozen=True)
class Aside:
    """A sheet without a table of tests: its number, the number of its file, and its cells."""

    sheet: int
    file: int
    grid: Grid


def unsettled_by(asides: list[Aside], files: npt.NDArray[np.int64], tests: pd.DataFrame, texts: Texts,
                 stated: Sequence[tuple[str, str]], findings: Findings) -> pd.DataFrame:  # fmt: skip
    """Rows of `Tables.unsettled`; `files`: file of each sheet, `texts`: the vocabulary of the run, `stated`: what a
    person says that columns mean; one that they ignore says nothing."""
    rows: list[dict[str, object]] = []
    for aside in asides:
        own = tests[(files[tests["sheet"].to_numpy()] == aside.file) & (tests["device"] > 0)]
        if len(own):
            rows += _rows(aside, own, texts, for_sheet(stated, aside.grid.sheet), findings)
    return pd.DataFrame(rows, columns=list(UNSETTLED)).astype(UNSETTLED)


def _rows(
    aside: Aside, tests: pd.DataFrame, texts: Texts, stated: Mapping[str, Meaning], findings: Findings
) -> list[dict[str, object]]:
    grid = aside.grid
    tests_of: dict[str, list[int]] = {}
    for test, name in zip(tests.index.tolist(), texts[tests["device"].to_numpy()], strict=True):
        tests_of.setdefault(_folded(name), []).append(test)
    rows_of = {n: _saying(column) for n, column in enumerate(grid.columns) if not _ignored(column, n, stated)}
    saying = {n: rows for n, rows in rows_of.items() if rows.any()}
    says = np.logical_or.reduce([np.zeros(grid.height, dtype=bool), *saying.values()])
    settling = " ".join(option("", column_letters(n), "ignore", grid.sheet) for n in saying)
    told: list[dict[str, object]] = []
    for number, column in enumerate(grid.columns):
        names = np.array([_folded(cell) in tests_of for cell in column.distinct], dtype=bool)
        found = np.flatnonzero(names[column.codes] & says)
        typed = [as_typed(grid.cell(at, number)) for at in found.tolist()]
        findings.add_many(CODE, {"sheet": [aside.sheet] * len(found), "row": grid.numbers[found],
                                 "column": [number] * len(found), "typed": typed,
                                 "suggestion": [settling] * len(found)})  # fmt: skip
        for name, row in zip(typed, grid.numbers[found].tolist(), strict=True):
            place = {"sheet": aside.sheet, "row": row, "column": number}
            message = catalogue()[CODE].message.format(typed=name)
            told += [{"test": test, "code": CODE, "message": message, **place} for test in tests_of[_folded(name)]]
    return told


def _ignored(column: Coded, number: int, stated: Mapping[str, Meaning]) -> bool:
    """Whether a person says that a column is to be ignored, by its letters or by a heading near its top."""
    top = [normal(as_typed(column.distinct[code])) for code in column.codes[:HEADED].tolist() if code]
    told = [stated[key].field for key in (f"={column_letters(number)}", *top) if key in stated]
    return "ignore" in told


def _saying(column: Coded) -> Mask:
    """Rows in which a column holds a reading or a fault, of columns that no heading calls something else."""
    top = [as_typed(column.distinct[code]) for code in column.codes[:HEADED].tolist() if code]
    if any(f.meaning.field in SILENT and f.heading >= 3.0 for text in top for f in from_heading(text)[:1]):
        return np.zeros(len(column.codes), dtype=bool)
    says = np.array([cell != "" and _says(cell) for cell in column.distinct], dtype=bool)
    return np.asarray(says[column.codes], dtype=bool)


def _says(cell: object) -> bool:
    year = bool(re.fullmatch(r"(?:19|20)\d\d", as_typed(cell)))
    return bool(grammars(cell) & _SAYS) and not year


def _folded(cell: object) -> str:
    return " ".join(as_typed(cell).casefold().split())
