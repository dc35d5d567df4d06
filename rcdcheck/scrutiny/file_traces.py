"""Does the file itself show that readings were computed, hidden, or there before the tests?

Why: a workbook keeps formulas, hidden rows and the time of its last saving.
How: a reading whose formula makes random numbers, or is computed from another reading, is a doubt. A file saved more
    than 24 h before tests that it reports (a template may keep its old date), formulas that convert a unit or look a
    value up, and readings in hidden rows, columns or sheets, are notes.
Source: direct; the 24 h are common practice, for clocks and time zones.
Not asked: delimited text, which keeps none of this.
Innocent: a formula left from a template and typed over elsewhere; the worse of two phases by formula (not counted); a
    filter that hides rows; a template or a program that keeps an old saved date; a computer or instrument with a wrong
    clock.
"""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from rcdcheck.scrutiny.answer import Answer, Who
from rcdcheck.scrutiny.grouping import Material
from rcdcheck.scrutiny.preparation import settings
from rcdcheck.tables import Tables

QUESTION = "file_traces"
RANDOM = re.compile(r"\bRAND(BETWEEN|ARRAY)?\s*\(", re.IGNORECASE)
REFERENCE = re.compile(r"(?<![\w!'\].])\$?([A-Z]{1,3})\$?([1-9]\d{0,6})(?![\w(!])")
# one cell times or over a power of ten: seconds to milliseconds, amperes to milliamperes
CONVERSION = re.compile(
    r"^=?\s*(ROUND\()?\s*(\$?[A-Z]{1,3}\$?\d+\s*[*/]\s*10*|10+\s*\*\s*\$?[A-Z]{1,3}\$?\d+)\s*(,\s*\d\))?\s*$"
)
KINDS = {
    "random": (
        "reading-from-random-formula",
        "moderately strong",
        "comes from a formula that makes random numbers",
        "come from formulas that make random numbers",
    ),
    "neighbour": (
        "reading-from-reading",
        "moderately strong",
        "is computed from another reading",
        "are computed from another reading",
    ),
    "formula": (
        "reading-from-formula",
        "note",
        "comes from a formula (a conversion, or looked up elsewhere)",
        "come from formulas (a conversion, or looked up elsewhere)",
    ),
}


def ask(material: Material) -> list[Answer]:
    """Answers for each sheet and person."""
    tables = material.tables
    workbook = (tables.sheets["kind"] != "text").to_numpy() if len(tables.sheets) else np.zeros(0, dtype=bool)
    if not workbook.any():
        why = "delimited text keeps no formulas, hidden rows or time of saving"
        return [Answer(QUESTION, Who("", "all files", -1), 0, why)]
    found = [*_formulas(material), *_hidden(material), *_saved_before(material)]
    n = int(workbook[tables.tests["sheet"].to_numpy()].sum())
    nothing = "no reading is a formula or hidden, and no file was saved before its tests"
    return found or [Answer(QUESTION, Who("", "all workbooks", -1), n, sentence=nothing)]


def _readings(tables: Tables) -> pd.DataFrame:
    """Cell of each reading: sheet, row, column, test, worst."""
    readings = tables.readings
    worst = np.array([s.phase == "worst" for s in tables.slots] or [False])
    return pd.DataFrame(
        {
            "sheet": tables.tests["sheet"].to_numpy()[readings["test"].to_numpy()],
            "row": readings["row"].to_numpy(),
            "column": readings["column"].to_numpy(),
            "test": readings["test"].to_numpy().astype(np.int64),
            "worst": worst[readings["slot"].to_numpy()],
        }
    )


def _formulas(material: Material) -> list[Answer]:
    tables = material.tables
    formulas = tables.cells[tables.cells["kind"] == "formula"]
    if not len(formulas):
        return []
    readings = _readings(tables)
    cells = formulas.merge(readings, on=["sheet", "row", "column"]).drop_duplicates(["sheet", "row", "column"])
    cells["what"] = _what(cells, readings)
    cells["person"] = material.people[cells["test"].to_numpy()]
    return [
        _formula_answer(material, str(what), part)
        for (_, _, what), part in cells.groupby(["sheet", "person", "what"], sort=True)
    ]


def _formula_answer(material: Material, what: str, part: pd.DataFrame) -> Answer:
    code, strength, one, many = KINDS[what]
    first = part.iloc[0]
    return Answer(
        QUESTION,
        material.who[int(first["person"])],
        len(part),
        statistic=len(part),
        sentence=f"{_readings_that(len(part), one, many)}, for instance {first['text'] or 'a shared formula'}",
        direct=strength,
        tests=part["test"].drop_duplicates().to_numpy(),
        column=int(first["column"]),
        doubt="" if strength == "note" else code,
        note=code,
    )


def _readings_that(n: int, one: str, many: str) -> str:
    return f"1 reading {one}" if n == 1 else f"{n} readings {many}"


def _what(cells: pd.DataFrame, readings: pd.DataFrame) -> list[str]:
    """Kind of each formula: random, neighbour or formula."""
    held = set(zip(readings["sheet"], readings["row"], readings["column"], strict=True))
    return [
        "random"
        if RANDOM.search(text)
        else "neighbour"
        if not worst
        and not CONVERSION.match(text)
        and any((sheet, row, column) in held for row, column in references(text))
        else "formula"
        for sheet, text, worst in zip(cells["sheet"], cells["text"], cells["worst"], strict=True)
    ]


def references(formula: str) -> list[tuple[int, int]]:
    """Row and column (from 0) of every cell of the same sheet that a formula names."""
    return [(int(row), _column(letters)) for letters, row in REFERENCE.findall(formula)]


def _column(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number - 1


def _hidden(material: Material) -> list[Answer]:
    tables = material.tables
    hidden = tables.cells[tables.cells["kind"].isin(["hidden_row", "hidden_column"])]
    sheets = np.flatnonzero(tables.sheets["hidden"].to_numpy(dtype=bool))
    if not len(hidden) and not len(sheets):
        return []
    readings = _readings(tables)
    rows = hidden.loc[hidden["kind"] == "hidden_row", ["sheet", "row"]].drop_duplicates()
    columns = hidden.loc[hidden["kind"] == "hidden_column", ["sheet", "column"]].drop_duplicates()
    inside = readings["sheet"].isin(sheets).to_numpy(copy=True)
    for keys in (rows, columns):
        known = pd.MultiIndex.from_frame(keys)
        inside |= pd.MultiIndex.from_frame(readings[list(keys.columns)]).isin(known)
    return [
        Answer(
            QUESTION,
            material.who[int(material.people[part["test"].iloc[0]])],
            len(part),
            statistic=len(part),
            sentence=_readings_that(
                len(part), "stands in a hidden row, column or sheet", "stand in hidden rows, columns or sheets"
            ),
            direct="note",
            note="hidden-readings",
            tests=part["test"].drop_duplicates().to_numpy(),
        )
        for _, part in readings[inside].groupby("sheet")
    ]


def _saved_before(material: Material) -> list[Answer]:
    tables = material.tables
    sheet = tables.tests["sheet"].to_numpy()
    at, saved = tables.tests["tested_at"].to_numpy(), tables.sheets["saved_at"].to_numpy()
    known = ~np.isnat(at) & ~np.isnat(saved[sheet])
    margin = np.timedelta64(settings(QUESTION)["saved_before_h"], "h")
    late = np.flatnonzero(known & (at > saved[sheet] + margin))
    return [
        Answer(
            QUESTION,
            material.who[int(material.people[tests[0]])],
            len(tests),
            statistic=len(tests),
            sentence=f"the file was last saved on {pd.Timestamp(saved[s]):%Y-%m-%d}, before "
            f"{_tests(len(tests))} that it reports (the last on {pd.Timestamp(at[tests].max()):%Y-%m-%d})",
            direct="note",
            note="saved-before-tested",
            tests=tests.astype(np.int64),
        )
        for s in np.unique(sheet[late])
        for tests in [late[sheet[late] == s]]
    ]


def _tests(n: int) -> str:
    return "1 test" if n == 1 else f"{n} tests"
