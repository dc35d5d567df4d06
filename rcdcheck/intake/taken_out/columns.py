"""How each column of a table was understood, as rows of the table `columns`, and what that leaves to say."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import NO_HEADING, as_typed, column_letters
from rcdcheck.findings import Findings
from rcdcheck.intake.cells.verdicts import one_denies_another, verdict
from rcdcheck.intake.opened.grids import Coded, Grid
from rcdcheck.intake.taken_out.settling import name_of, option
from rcdcheck.intake.understood.asking import answer
from rcdcheck.intake.understood.assignment import MANY
from rcdcheck.intake.understood.candidates import CHECKS, Candidate, weights
from rcdcheck.intake.understood.grammars import CHECK, READING, Kind, grammars
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import number_of
from rcdcheck.intake.understood.reading_headings import readings_of
from rcdcheck.intake.understood.table import Column, Table

SPEAKS = 2.5  # how strongly a heading must speak of a reading for one number below it to matter
SAMPLED_ROWS = 5_000
DECIDE = {
    "reading",
    "pair",
    "delay",
    "waveform_type",
}  # what a wrong pass may hang on, and judging has no other sign of
PLAIN = 4.0  # log-odds from which the words of a heading alone say what its column holds
TWICE = MANY | {"declared"}  # may stand twice


def rows(sheet: int, grid: Grid, table: Table, beside: set[int]) -> list[dict[str, Any]]:
    """One row for each column of the table that has a heading, and for each without one that holds something."""
    return [_row(sheet, grid, table, c) for c in (*table.columns, *_unheaded(grid, table, beside))]


def _row(sheet: int, grid: Grid, table: Table, c: Column) -> dict[str, Any]:
    row, column = grid.place(c.row, c.number)
    decide = weights()["decide"]
    other = c.other if c.other is not None and c.margin < decide["sure"] and not c.confirmed else None
    return {
        "sheet": sheet,
        "column": column,
        "row": row,
        "number": c.number,
        "at": c.row,
        "heading": c.heading,
        "meaning": name_of(c.meaning),
        "unit": c.meaning.unit,
        "how": "stated by you" if c.confirmed else c.meaning.how,
        "why": "; ".join(c.why),
        "other": name_of(other.meaning) if other else "",
        "other_why": "; ".join(other.why) if other else "",
        "margin": min(c.margin, 99.0),
        "samples": samples(grid, table, c),
    }


def headings(grid: Grid, table: Table) -> Iterator[tuple[str, str, str]]:
    """Sheet, letters and heading of each column, as `--column` may name it."""
    for c in table.columns:
        yield grid.sheet, column_letters(c.number), c.heading
        if c.heading.split():
            yield grid.sheet, column_letters(c.number), c.heading.split("\n")[-1]


def samples(grid: Grid, table: Table, column: Column) -> str:
    """The first three distinct cells of a column, as typed."""
    own = grid.columns[column.number]
    codes = own.codes[table.start : min(table.stop, table.start + SAMPLED_ROWS)]
    first = pd.unique(codes[codes > 0])[:3]
    return ", ".join(as_typed(own.distinct[i]) for i in first)


def _unheaded(grid: Grid, table: Table, beside: set[int]) -> list[Column]:
    """Columns without a heading that hold something."""
    headed = {c.number for c in table.columns} | beside
    row = int(grid.numbers[table.heading_rows[-1]])
    bare = [Column(n, row, NO_HEADING, Meaning("")) for n in range(len(grid.columns)) if n not in headed]
    return [c for c in bare if samples(grid, table, c)]


# ── what is left to say ──
def point(sheet: int, grid: Grid, table: Table, beside: set[int], findings: Findings) -> None:
    """Columns that were not understood, by what they hold; columns that claim one meaning."""
    for c in (*table.columns, *_unheaded(grid, table, beside)):
        if not c.meaning.field:
            _point_at_unknown(sheet, grid, table, c, findings)
    _point_at_twins(sheet, grid, table, findings)


def _point_at_unknown(sheet: int, grid: Grid, table: Table, c: Column, findings: Findings) -> None:
    row, column = grid.place(c.row, c.number)
    findings.add(_holding(grid, table, c), sheet=sheet, row=row, column=column, heading=c.heading,
                 samples=samples(grid, table, c) or "nothing", how=_how(c),
                 suggestion=_options(grid, table, c))  # fmt: skip


def _how(c: Column) -> str:
    if c.meaning.how:
        return c.meaning.how
    return f"perhaps {name_of(c.other.meaning)}" if c.other is not None and c.other.meaning.field else ""


def _holding(grid: Grid, table: Table, c: Column) -> str:
    """The finding on a column without meaning: quiet where nothing in it could matter."""
    own = grid.columns[c.number]
    counts = np.bincount(own.codes[table.start : table.stop], minlength=len(own.distinct))
    kinds = [(grammars(own.distinct[i]), counts[i]) for i in np.flatnonzero(counts) if i]
    total = sum(n for _, n in kinds)
    if 2 * len(kinds) < total and one_denies_another(as_typed(own.distinct[i]) for i in np.flatnonzero(counts) if i):
        return "column-not-understood-holds-checks"
    checks = sum(n for k, n in kinds if k & CHECK and not k & Kind.NUMBER)
    if checks > 0.3 * total:
        return "column-not-understood" if _worded(own, counts) else "column-not-understood-holds-checks"
    numbers = sum(n for k, n in kinds if k & (READING | Kind.PAIR) and not k & Kind.DATE)
    told = any(read.weight >= SPEAKS and read.meaning.field for read in readings_of(c.heading))
    if (numbers and told) or (numbers > 0.3 * total and not _counts(own, own.codes[table.start : table.stop])):
        return "column-not-understood-holds-numbers"
    said = any(not k & Kind.UNMEASURED for k, _ in kinds)
    return "column-headed-and-not-read" if said and _decides_by_heading(c.heading) else "column-not-understood"


def _worded(own: Coded, counts: npt.NDArray[np.int64]) -> bool:
    """Whether the checks of a column are words that pass or fail whatever it is headed: "P" and "F", "ok" and "failed",
    and no answers or ticks. A pass there adds nothing, and a fail is heard (`understood.loud`)."""
    used = [own.distinct[i] for i in np.flatnonzero(counts) if i]
    checks = [as_typed(cell) for cell in used if grammars(cell) & CHECK]
    return all(verdict(text) and not answer(text) and not grammars(text) & (Kind.TICK | Kind.NUMBER) for text in checks)


def _decides_by_heading(heading: str) -> bool:
    """Whether the words of a heading say plainly that its column holds what outcomes hang on, and nothing else."""
    told = from_heading(heading)
    strongest = [one.meaning for one in told if one.heading == told[0].heading]
    plain = bool(told) and (told[0].heading >= PLAIN or any(_multiple_known(m) for m in strongest))
    return plain and {m.field for m in strongest} <= DECIDE


def _multiple_known(meaning: Meaning) -> bool:
    return meaning.slot is not None and np.isfinite(meaning.slot.multiple)


def _counts(own: Coded, codes: npt.NDArray[np.int32]) -> bool:
    """Whether whole numbers of a column count on by one, or are all larger than any reading: no reading is so."""
    used, place = np.unique(codes[codes > 0], return_inverse=True)
    read = np.array([number_of(own.distinct[i], grammars(own.distinct[i])) for i in used])
    numbers = read[place][np.isfinite(read[place])] if len(used) else read
    if not len(numbers):
        return False
    steps = np.diff(numbers)
    in_blocks = len(np.unique(numbers)) > 3 and bool(np.isin(steps, (0, 1)).all())  # 14, 15, 16, 16, 17: plots
    return bool(numbers.min() >= 5_000 or (len(numbers) > 2 and (steps == 1).all()) or in_blocks)


def _options(grid: Grid, table: Table, c: Column) -> str:
    """The options that may settle what a column means."""
    likely = [name_of(c.other.meaning)] if c.other is not None and c.other.meaning.field else []
    code = _holding(grid, table, c)
    if code == "column-not-understood-holds-checks":
        likely += [f for f in CHECKS if not table.of(f)]
    elif code == "column-not-understood-holds-numbers":
        slots = {name_of(x.meaning) for x in table.readings}
        likely += [s for s in ("trip_time_1x_0", "trip_time_1x_180", "trip_current") if s not in slots]
    elif code == "column-headed-and-not-read":
        likely += [name_of(told.meaning) for told in from_heading(c.heading)]
    else:
        likely += ["remark"]
    return " or ".join(option(grid, table, c, m) for m in dict.fromkeys([*likely[:3], "ignore"]))


def _point_at_twins(sheet: int, grid: Grid, table: Table, findings: Findings) -> None:
    """Two columns that claim the same meaning are an error that names both."""
    seen: dict[object, Column] = {}
    for c in table.columns:
        if c.meaning.field in TWICE:
            continue
        key = (Candidate(c.meaning, 0.0).key, c.outlet)
        first = seen.setdefault(key, c)
        if first is not c:
            code = (
                "two-columns-one-reading"
                if c.meaning.field in ("reading", "pair", "value")
                else "two-columns-one-meaning"
            )
            meaning = c.meaning.slot.title if c.meaning.slot else c.meaning.field.replace("_", " ")
            row, column = grid.place(c.row, c.number)
            findings.add(code, sheet=sheet, row=row, column=column, heading=c.heading, first=first.heading,
                         meaning=meaning, suggestion=option(grid, table, c, "ignore"))  # fmt: skip
