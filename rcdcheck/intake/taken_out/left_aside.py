"""Sheets that were passed over and name devices of the same file beside something like a reading: these are unclear.

What a sheet says that nobody understood could fail a device, so the device does not pass before somebody has looked.
A list of defects may name a device by where it is, or in the words of a sentence; a row of it then has to say a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

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
_FAULTY = Kind.NO_TRIP | Kind.FAULT
_SAYS = READING | Kind.MILLISECONDS | Kind.FAIL | Kind.BOUND | _FAULTY
PLACED = ("serial", "location", "circuit", "model")  # fields of a test that may name its device in a list of defects
WORDS = 4  # of a name that stands within a sentence


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
    read = [n for n, column in enumerate(grid.columns) if not _ignored(column, n, stated)]
    saying = {n: _saying(grid.columns[n], _SAYS) for n in read}
    saying = {n: rows for n, rows in saying.items() if rows.any()}
    faulty = _any(grid, [_saying(grid.columns[n], _FAULTY) for n in saying])
    says = _any(grid, list(saying.values()))
    if not saying:  # names of all tests are folded only where something is said of one
        return []
    named = _tests_by_name(tests, texts, ["device"])
    placed = {**_tests_by_name(tests, texts, PLACED), **named}
    settling = " ".join(option("", column_letters(n), "ignore", grid.sheet) for n in saying)
    told: list[dict[str, object]] = []
    for number, column in enumerate(grid.columns):
        for at, concerned in _naming(column, says, faulty, named, placed):
            typed, row = as_typed(grid.cell(at, number)), int(grid.numbers[at])
            place: dict[str, Any] = {"sheet": aside.sheet, "row": row, "column": number}
            findings.add(CODE, **place, typed=typed, suggestion=settling)
            message = catalogue()[CODE].message.format(typed=typed)
            told += [{"test": test, "code": CODE, "message": message, **place} for test in concerned]
    return told


def _tests_by_name(tests: pd.DataFrame, texts: Texts, fields: Sequence[str]) -> dict[str, list[int]]:
    """Tests by the folded text of these fields, where it is not blank."""
    found: dict[str, list[int]] = {}
    for field in fields:
        for test, name in zip(tests.index.tolist(), texts[tests[field].to_numpy()], strict=True):
            if name:
                found.setdefault(_folded(name), []).append(test)
    return found


def _any(grid: Grid, masks: Sequence[Mask]) -> Mask:
    return np.asarray(np.logical_or.reduce([np.zeros(grid.height, dtype=bool), *masks]), dtype=bool)


def _naming(
    column: Coded, says: Mask, faulty: Mask, named: Mapping[str, list[int]], placed: Mapping[str, list[int]]
) -> Iterator[tuple[int, list[int]]]:
    """Position of each cell that names devices in a row that says something of them, with their tests."""
    alone = [named.get(_folded(cell), []) for cell in column.distinct]
    faulted = [placed.get(_folded(cell)) or _named_within(cell, placed) for cell in column.distinct]
    some = np.array([bool(a or f) for a, f in zip(alone, faulted, strict=True)], dtype=bool)
    for at in np.flatnonzero(some[column.codes] & says).tolist():
        concerned = (faulted if faulty[at] else alone)[column.codes[at]]
        if concerned:
            yield at, concerned


def _named_within(cell: object, placed: Mapping[str, list[int]]) -> list[int]:
    """Tests of the devices that stand in a sentence that says a fault."""
    if not isinstance(cell, str) or not grammars(cell) & _FAULTY:
        return []
    return sorted({test for part in _parts(cell) for test in placed.get(part, [])})


def _parts(text: str) -> Iterator[str]:
    """The runs of up to WORDS words of a text, folded: among them the names that stand in it."""
    words = [word.strip(".,;:()[]\"'“”") for word in _folded(text).split()]
    for first in range(len(words)):
        yield from (" ".join(words[first:stop]) for stop in range(first + 1, min(first + WORDS, len(words)) + 1))


def _ignored(column: Coded, number: int, stated: Mapping[str, Meaning]) -> bool:
    """Whether a person says that a column is to be ignored, by its letters or by a heading near its top."""
    top = [normal(as_typed(column.distinct[code])) for code in column.codes[:HEADED].tolist() if code]
    told = [stated[key].field for key in (f"={column_letters(number)}", *top) if key in stated]
    return "ignore" in told


def _saying(column: Coded, wanted: Kind) -> Mask:
    """Rows in which a column holds a cell of the wanted kinds, of columns that no heading calls something else."""
    top = [as_typed(column.distinct[code]) for code in column.codes[:HEADED].tolist() if code]
    if any(f.meaning.field in SILENT and f.heading >= 3.0 for text in top for f in from_heading(text)[:1]):
        return np.zeros(len(column.codes), dtype=bool)
    says = np.array([cell != "" and _says(cell, wanted) for cell in column.distinct], dtype=bool)
    return np.asarray(says[column.codes], dtype=bool)


def _says(cell: object, wanted: Kind) -> bool:
    year = bool(re.fullmatch(r"(?:19|20)\d\d", as_typed(cell)))
    return bool(grammars(cell) & wanted) and not year


def _folded(cell: object) -> str:
    return " ".join(as_typed(cell).casefold().split())
