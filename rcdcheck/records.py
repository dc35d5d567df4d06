"""The tables that everything speaks in, and the frozen Audit that every report reads.

Texts of a run live once in one vocabulary; the tables hold int32 codes into it (0 is the empty text), so that
a million rows group and compare as whole numbers. `Tables.texts` turns codes back. Rows are numbered as the
person sees them (the spreadsheet's row, or the line of a text file); columns count from 0 and are shown as letters.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from functools import cached_property
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.history import History

if TYPE_CHECKING:
    from rcdcheck.rules import RuleSet

Texts = npt.NDArray[np.object_]
Codes = npt.NDArray[np.int32]
Numbers = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]


class State(IntEnum):
    """What the instrument showed."""

    TRIPPED = 0
    NOT_TRIPPED = 1
    UNREADABLE = 2  # something stands in the cell, and it is not a reading


class Bound(IntEnum):
    """How the number limits the reading: `>300` is ABOVE 300."""

    EXACT = 0
    ABOVE = 1
    BELOW = 2


class Flag(IntEnum):
    """A yes/no cell; ABSENT means that the sheet has no such column."""

    ABSENT = 0
    BLANK = 1
    PASS = 2
    FAIL = 3
    UNCLEAR = 4


class Verdict(IntEnum):
    """Of one reading, in order of precedence: the highest stands."""

    NOT_JUDGED = 0
    PASS = 1
    MARGINAL = 2
    UNCLEAR = 3
    FAIL = 4

    @property
    def word(self) -> str:
        """The word that reports print."""
        return self.name.lower()


class Outcome(IntEnum):
    """Of a device, in order of precedence: the highest stands."""

    PASS = 0
    INCOMPLETE = 1
    UNCLEAR = 2
    FAIL = 3

    @property
    def word(self) -> str:
        """The word that reports print."""
        return self.name.lower()


class Slot(NamedTuple):
    """Which reading a number is: the quantity, at which multiple of IΔn, started at which phase, of which waveform.

    `multiple` is 0 for a ramp (trip_current) and NaN where only a test current in mA is known.
    """

    quantity: str  # "trip_time" in ms or "trip_current" in mA
    multiple: float = 0.0
    phase: str = "none"  # "0", "180", "worst" (of both), "none" (not said)
    waveform: str = "ac"  # "ac", "pulsating", "smooth_dc"

    @property
    def unit(self) -> str:
        """Unit of the value: ms or mA."""
        return "ms" if self.quantity == "trip_time" else "mA"

    @property
    def name(self) -> str:
        """Field name as test-sheet.json spells it: `trip_time_1x_0`, `trip_current`, `trip_time_5x_180_pulsating`."""
        parts = [self.quantity]
        if self.quantity == "trip_time":
            parts.append("x" if np.isnan(self.multiple) else f"{self.multiple:g}x")
        parts += [self.phase] if self.phase != "none" else []
        parts += [self.waveform] if self.waveform != "ac" else []
        return "_".join(parts)

    @property
    def title(self) -> str:
        """What a person calls it: `trip time 1× at 0°`, `ramp trip current`."""
        words = "trip time" if self.quantity == "trip_time" else "ramp trip current"
        if self.quantity == "trip_time" and not np.isnan(self.multiple):
            words += " at half rated" if self.multiple == 0.5 else f" {self.multiple:g}×"
        words += {"0": ", 0°", "180": ", 180°", "worst": ", worst of both phases", "none": ""}[self.phase]
        return words + {"ac": "", "pulsating": ", pulsating", "smooth_dc": ", smooth d.c."}[self.waveform]


def slot_named(name: str) -> Slot | None:
    """The slot that a field name stands for, or None where it names no reading (`device`, `trip_times`)."""
    quantity = next((q for q in ("trip_time", "trip_current") if name == q or name.startswith(q + "_")), None)
    if quantity is None:
        return None
    multiple, phase, waveform = (1.0 if quantity == "trip_time" else 0.0), "none", "ac"
    rest = name[len(quantity) :].replace("smooth_dc", "smooth-dc").strip("_")
    for part in filter(None, rest.split("_")):
        if part in ("0", "180", "worst"):
            phase = part
        elif part in ("pulsating", "smooth-dc"):
            waveform = part.replace("-", "_")
        elif quantity == "trip_time" and re.fullmatch(r"[0-9]+(\.[0-9]+)?x", part):
            multiple = float(part[:-1])
        else:
            return None
    return Slot(quantity, multiple, phase, waveform)


def column_letters(column: int) -> str:
    """Letters of a column counted from 0: 0 is A, 26 is AA."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


NO_HEADING = "(no heading)"  # what a column without one is called; --column names it by its letters


def as_typed(value: object) -> str:
    """A cell as a person would see it: 28.0 is `28`, a date is ISO, None is empty."""
    if isinstance(value, str):  # most are
        return value
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, dt.datetime):
        return value.isoformat(" ", "minutes") if value.time() != dt.time() else value.date().isoformat()
    return str(value)


# ── columns of the tests table that schemas/test-sheet.json declares ──
_DECLARED: list[dict[str, Any]] = data.document("test-sheet.json")["fields"]
_WORDS = [field for field in _DECLARED if field["type"] == "string"]
_CHECK = ["pass", "fail"]
FLAG_FIELDS = tuple(f["name"] for f in _WORDS if f["constraints"].get("enum") == _CHECK)  # int8 of Flag
TEXT_FIELDS = tuple(f["name"] for f in _WORDS if f["name"] not in FLAG_FIELDS)  # int32 codes into the vocabulary
DATE_FIELDS = tuple(f["name"] for f in _DECLARED if f["type"] in ("date", "datetime"))  # datetime64[us], NaT: not known
WORDS_OF = {name: f"{name}_words" for name in ("visual", "push_button")}  # codes: what it says beside pass or fail

TESTS = {
    **dict.fromkeys(TEXT_FIELDS, "int32"),
    **dict.fromkeys(DATE_FIELDS, "datetime64[us]"),
    **dict.fromkeys(FLAG_FIELDS, "int8"),
    **dict.fromkeys(WORDS_OF.values(), "int32"),
    "clock_known": "bool",  # whether tested_at has a time of day
    "rated_residual_current": "float64",  # mA, NaN where not known
    "rated_unreadable": "bool",  # something stands in its cell that cannot be read
    "sheet": "int32",  # row of the sheets table
    "row": "int32",  # first row that speaks of the test
}
READINGS = {
    "test": "int32",  # row of the tests table; readings are sorted by it
    "slot": "int16",  # index into Tables.slots
    "value": "float64",  # ms or mA, rounded once to 1e-6; NaN where there is no number
    "state": "int8",  # State
    "bound": "int8",  # Bound
    "test_current": "float64",  # mA, where the sheet states it; else NaN
    "text": "int32",  # as typed
    "row": "int32",
    "column": "int16",
}
SHEETS = {
    "input": "int32",  # index into Tables.inputs
    "sheet": "object",  # name of the sheet, empty for delimited text
    "kind": "object",  # xlsx, xls, xlsb, ods, text
    "hidden": "bool",
    "saved_at": "datetime64[us]",
    "non_blank": "int64",  # = heading + test + passed_over
    "heading": "int64",
    "test": "int64",
    "passed_over": "int64",
    "reason": "object",  # why no table was read, empty where one was
}
COLUMNS = {
    "sheet": "int32",
    "column": "int16",
    "row": "int32",  # row of the heading
    "heading": "object",
    "meaning": "object",  # field name, `ignore`, `other_test`, or empty: not understood
    "unit": "object",
    "number": "int32",  # of the column in its table; differs from `column` where the table lies on its side
    "at": "int32",  # row of its heading in its table
    "how": "object",  # one clause on how it was understood, empty where plain
    "why": "object",  # what speaks for the meaning, in clauses
    "other": "object",  # what it could also mean, empty where it is sure
    "other_why": "object",  # what speaks for that
    "margin": "float64",  # how far that lies behind, in log-odds
    "samples": "object",  # its first three distinct cells
}
ROWS = {  # every row that was read as (part of) a test
    "sheet": "int32",
    "row": "int32",
    "test": "int32",
    "column": "int16",  # of the test, where its table lies on its side; else -1
}
PASSED_OVER = {
    "sheet": "int32",
    "row": "int32",
    "reason": "object",
    "text": "object",
    "holds_reading": "bool",
}
UNSETTLED = {  # what leaves a test unclear whatever its readings say: a cell that was heard, a column that is undecided
    "test": "int32",
    "code": "object",  # of findings.toml
    "message": "object",
    "sheet": "int32",
    "row": "int32",
    "column": "int16",
}
POINTED = {  # where a field of a test stands, of tables on their side and of all but the first of their sheet
    "test": "int32",
    "field": "object",
    "row": "int32",
    "column": "int16",
}
CELLS = {"sheet": "int32", "row": "int32", "column": "int16", "kind": "object", "text": "object"}
TABLES = {  # the frames of `Tables`, by name
    "sheets": SHEETS, "columns": COLUMNS, "tests": TESTS, "readings": READINGS, "rows": ROWS,
    "passed_over": PASSED_OVER, "cells": CELLS, "unsettled": UNSETTLED, "pointed": POINTED,
}  # fmt: skip


def empty(dtypes: Mapping[str, str]) -> pd.DataFrame:
    """A frame with no rows and the columns of one of the tables above."""
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class Input:
    """One file as it came in. `name` is what reports print; `path` is never printed."""

    name: str
    path: Path | None  # None for standard input
    sha256: str
    bytes: int
    status: str  # "audited" or "not_audited"
    reason: str = ""


@dataclass(frozen=True)
class Tables:
    """Everything that intake read; see the dtypes above for the columns of each frame."""

    inputs: tuple[Input, ...]
    sheets: pd.DataFrame
    columns: pd.DataFrame
    tests: pd.DataFrame
    readings: pd.DataFrame
    rows: pd.DataFrame
    passed_over: pd.DataFrame
    cells: pd.DataFrame
    unsettled: pd.DataFrame
    slots: tuple[Slot, ...]
    vocabulary: Texts
    pointed: pd.DataFrame = field(default_factory=lambda: empty(POINTED))

    def __post_init__(self) -> None:
        """Hold each table to its columns and dtypes. Raises TypeError for a breach: a fault of this program."""
        for name, dtypes in TABLES.items():
            of_frame = getattr(self, name).dtypes.items()
            found = {str(column): str(dtype).replace("str", "object") for column, dtype in of_frame}  # both are texts
            if found != dtypes:
                apart = sorted(set(found.items()) ^ set(dtypes.items()))
                raise TypeError(f"the table of {name} is not what records.py says: {apart}")

    def texts(self, codes: Iterable[int] | pd.Series[Any] | npt.NDArray[Any]) -> Texts:
        """The texts that codes stand for, shape (n,)."""
        return self.vocabulary[np.asarray(codes)]

    @cached_property
    def places(self) -> tuple[tuple[str, str], ...]:
        """Name of each sheet and of its file."""
        files = [self.inputs[i].name for i in self.sheets["input"]]
        return tuple(zip(self.sheets["sheet"], files, strict=True))

    def column_of(self, field: str, sheets: npt.NDArray[Any]) -> npt.NDArray[np.int16]:
        """Column that holds `field` in each of these sheets, -1 where none does, shape (n,)."""
        holds = self.columns[self.columns["meaning"] == field].drop_duplicates("sheet")
        known = holds.set_index("sheet")["column"]
        return known.reindex(sheets).fillna(-1).to_numpy().astype(np.int16)

    def cells_of(self, field: str, tests: npt.NDArray[Any]) -> dict[str, npt.NDArray[Any]]:
        """Sheet, row and column where `field` of each of these tests stands, column -1 for nowhere; shape (n,) each."""
        sheet = self.tests["sheet"].to_numpy()[tests]
        row, column = self.tests["row"].to_numpy()[tests], self.column_of(field, sheet)
        mine = self.pointed[self.pointed["field"] == field].drop_duplicates("test").set_index("test").reindex(tests)
        known = mine["row"].notna().to_numpy()
        row[known], column[known] = mine["row"][known], mine["column"][known]
        return {"sheet": sheet, "row": row, "column": column}

    def text_fields(self, frame: pd.DataFrame) -> pd.DataFrame:
        """A copy of `frame` (tests or readings) with its codes turned into texts."""
        names = [n for n in (*TEXT_FIELDS, *WORDS_OF.values(), "text") if n in frame]
        return frame.assign(**{name: self.texts(frame[name]) for name in names})


class Vocabulary:
    """Collects the distinct texts of a run; code 0 is the empty text."""

    def __init__(self) -> None:
        self._codes = defaultdict[str, int](count(1).__next__, {"": 0})

    def code(self, text: str) -> int:
        """Code of one text, added if new."""
        return self._codes[text]

    def codes(self, texts: Iterable[str]) -> Codes:
        """Codes of many texts; give it distinct texts and index the result, not a million cells."""
        return np.fromiter(map(self._codes.__getitem__, texts), np.int32)

    def frozen(self) -> Texts:
        """The texts in order of their codes, shape (n,)."""
        out = np.empty(len(self._codes), dtype=object)
        out[:] = list(self._codes)
        return out


@dataclass(frozen=True)
class Options:
    """What the person asked for; those that can change an answer are part of the fingerprint."""

    rules: str = "anz-in-service"
    as_of: dt.date = field(default_factory=dt.date.today)
    columns: tuple[tuple[str, str], ...] = ()  # (HEADING or SHEET!HEADING, MEANING)
    site: str = ""
    identity: str = "site"  # or "fleet": identifiers are unique everywhere
    date_order: str = ""  # "day-first", "month-first" or empty: decide by column
    encoding: str = ""
    delimiter: str = ""
    kind: str = ""
    environment: str = ""
    assume: tuple[tuple[str, str], ...] = ()  # (field, value), for instance ("rated_residual_current", "30mA")
    require: tuple[str, ...] = ()  # visual, push_button, ramp
    decision: str = "simple"  # or "guarded"
    uncertainty: tuple[tuple[str, str], ...] = ()  # (quantity, "10%" of limit or "5%r" of reading)
    remedied: tuple[tuple[str, str, str], ...] = ()  # (device, ISO date, what was done)
    fail_on: tuple[str, ...] = ("fail", "unclear", "incomplete", "doubt")
    new_only: bool = False  # judge by tests that the register does not hold yet
    again: bool = False  # audit files that the register has counted already
    replaces: str = ""  # visit of the register that the one new file corrects


@dataclass(frozen=True)
class Grade:
    """How far a record can be relied on: A to D, and the line of the grading table that decided."""

    scope: str  # "batch", "input", "technician", "instrument"
    name: str
    grade: str
    decided_by: str  # a sentence
    tests: int
    lines: tuple[tuple[str, str, str], ...] = ()  # (line, letter, figure) of the whole table


@dataclass(frozen=True)
class Audit:
    """The whole answer. Every report reads this and computes nothing.

    verdicts  aligned with tables.readings: verdict int8, reason (finding code, "" for none), multiple float64 (as
              judged, also where only a test current was stated), limit float64, limit_id int32 (index into `limits`,
              -1 none), margin float64, p_conform float64, hint (words that its sentence needs, "" for none)
    tests     aligned with tables.tests: device int32, visit int32, outcome int8, counted bool (False: the same
              test listed again)
    devices   one row a device: site, device, board, kind, environment (codes), name object, outcome int8, grade object,
              danger int8 (0 none, 1 the most dangerous), retest_due, tested_at (latest visit), next_action object,
              sheet int32, row int32 (where it is first named), tests int32, alike int32 (group of devices that
              are perhaps the same, -1 none)
    outlets   one row for each outlet of each device: device int32, outlet code, outcome int8
    reasons   sparse, the gravest of a device first: device int32, test int32, outlet code, code object, message object,
              sheet, row, column, outcome int8, standing bool (False: settled by a later visit)
    findings  see findings.py
    limits    every limit that judged something: quantity, rcd_type, waveform, multiple, minimum, maximum, unit, text,
              source, standing
    history   what a register of visits adds; see history.py
    questions one row for each question of scrutiny and group: question, technician, asked bool, why_not, n,
              statistic, expectation, chance, adjusted, strength, sentence
    """

    options: Options
    rules: RuleSet
    tables: Tables
    verdicts: pd.DataFrame
    test_outcomes: pd.DataFrame
    devices: pd.DataFrame
    outlets: pd.DataFrame
    reasons: pd.DataFrame
    findings: pd.DataFrame
    limits: pd.DataFrame
    questions: pd.DataFrame
    grades: tuple[Grade, ...]
    exit_code: int
    fingerprint: str
    version: str
    history: History = field(default_factory=History)

    @property
    def grade(self) -> Grade:
        """Grade of the whole batch."""
        return self.grades[0]

    def counts(self) -> dict[str, dict[str, int]]:
        """Counts by outcome of devices, by verdict of readings, and by severity of findings."""
        outcomes = self.devices["outcome"].value_counts()
        verdicts = self.verdicts["verdict"].value_counts()
        weights = self.findings.groupby("severity")["count"].sum()
        return {
            "devices": {o.word: int(outcomes.get(o, 0)) for o in Outcome},
            "readings": {v.word: int(verdicts.get(v, 0)) for v in Verdict},
            "findings": {s: int(weights.get(s, 0)) for s in ("danger", "error", "doubt", "caution", "note")},
        }
