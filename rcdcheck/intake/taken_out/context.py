"""What every part of a layout needs: the table, its test rows, and where findings, texts and slots are collected."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.findings import Findings
from rcdcheck.intake.cells.classes import TypeNames
from rcdcheck.intake.cells.distinct import Cells, parted
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.opened.grids import Coded, Grid, coded
from rcdcheck.intake.taken_out.settling import settling
from rcdcheck.intake.understood.colours import Colours
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.footnotes import Notes
from rcdcheck.intake.understood.legend import Legend
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Column, Table
from rcdcheck.options import Options
from rcdcheck.tables import Codes, Texts, Vocabulary
from rcdcheck.terms import Slot


@dataclass
class Context:
    """One table of one sheet on its way to tests and readings."""

    grid: Grid
    table: Table
    sheet: int
    rows: Rows
    options: Options
    findings: Findings
    vocabulary: Vocabulary
    slots: dict[Slot, int]
    site: str  # where no column, no section line and no line above the table states one
    facts: dict[str, Fact]  # what the lines above the table say of all its tests, by field
    said: dict[int, str] = field(default_factory=dict)  # by test row: "locked" and the like from its reading cells
    types: TypeNames = field(default_factory=dict)  # of the rule set beside I to IV
    legend: Legend = field(default_factory=dict)  # marks that the sheet explains
    colours: Colours = field(default_factory=dict)  # fills that the sheet explains
    notes: Notes = field(default_factory=dict)  # what footnotes say of rows, by position in the grid
    outlet: str = ""  # where each outlet has columns of its own
    first: bool = True  # whether no table of its sheet, and no outlet of its table, came before
    quiet: bool = False  # what the columns of all outlets say was said with the first outlet
    at: npt.NDArray[np.int64] = field(init=False)  # positions of the test rows in the grid
    numbers: npt.NDArray[np.int64] = field(init=False)  # row numbers that the person sees

    def __post_init__(self) -> None:
        """Find the test rows."""
        self.at = np.flatnonzero(self.rows.kind == RowKind.TEST) + self.table.start
        self.numbers = self.grid.numbers[self.at]

    def cells(self, column: Column) -> Coded:
        """Cells of a column in the test rows."""
        return self.grid.columns[column.number].taken(self.at)

    def described(self, column: Column) -> Coded:
        """Cells of a column: a merged cell speaks for every row it spans, a ditto mark for the cell above."""
        cells = carried_down(self, column, self.cells(column))
        own = self.grid.columns[column.number]
        if not own.ask(_is_ditto, np.arange(len(own.distinct))).any():
            return cells
        ditto = cells.ask(_is_ditto, cells.codes)
        above = pd.Series(np.where(ditto, np.nan, np.arange(len(ditto)))).ffill().to_numpy()
        followed = ditto & np.isfinite(above)
        cells = cells.taken(np.where(followed, above, np.arange(len(above))).astype(np.int64))
        if followed.any() and not self.quiet:
            first, number = self.grid.place(int(self.numbers[followed][0]), column.number)
            last, _ = self.grid.place(int(self.numbers[followed][-1]), column.number)
            self.findings.add("ditto-marks-followed", sheet=self.sheet, row=first, last_row=last, column=number,
                              heading=column.heading, cells=int(followed.sum()))  # fmt: skip
        return cells

    def sections(self, device: npt.NDArray[Any]) -> Texts:
        """The section line above each test row, shape (n,); of rows under RE-TESTS, that of their device before."""
        lines = self.rows.section[self.at - self.table.start]
        again = self.rows.repeats[self.at - self.table.start] if len(self.rows.repeats) else np.zeros(0, dtype=bool)
        if not again.any():
            return lines
        first = dict(zip(device[~again][::-1], lines[~again][::-1], strict=True))
        lines = lines.copy()
        lines[again] = [first.get(name, line) for name, line in zip(device[again], lines[again], strict=True)]
        return lines

    def codes(self, texts: Cells) -> Codes:
        """Codes of texts in the vocabulary, shape (n,)."""
        codes, distinct = parted(texts)
        plain = distinct if pd.api.types.infer_dtype(distinct, skipna=False) == "string" else map(as_typed, distinct)
        return self.vocabulary.codes(plain)[codes] if len(distinct) else codes.astype("int32")

    def point(self, column: Column, code: Texts, typed: Cells, suggestion: Texts) -> None:
        """One finding for each cell that has a code."""
        some = np.flatnonzero(code != "")
        if not len(some) or (self.quiet and column.outlet != self.outlet):
            return
        rows, columns = self.grid.places_of(self.at, column.number)
        for name in pd.unique(code[some]):
            these = some[code[some] == name]
            self.findings.add_many(
                name,
                {
                    "sheet": np.full(len(these), self.sheet),
                    "row": rows[these],
                    "column": columns[these],
                    "typed": typed.cells(these) if isinstance(typed, Coded) else typed[these],
                    "suggestion": suggestion[these],
                    "heading": np.full(len(these), column.heading, dtype=object),
                },
            )

    def say(self, column: Column, notes: tuple[tuple[str, dict[str, str]], ...]) -> None:
        """Findings about a whole column."""
        last, _ = self.grid.place(int(self.numbers[-1]), column.number)
        first, number = self.grid.place(int(self.numbers[0]), column.number)
        if self.quiet and column.outlet != self.outlet:
            return
        for code, told in notes:
            words: dict[str, Any] = {"heading": column.heading, **told}
            self.findings.add(code, sheet=self.sheet, row=first, last_row=last, column=number,
                              suggestion=settling(self.grid, self.table, column, code, words), **words)  # fmt: skip


def _is_ditto(cell: object) -> bool:
    """Whether a cell says "as above"; no such mark holds a digit."""
    return isinstance(cell, str) and 0 < len(cell) <= LONGEST_DITTO and not _DIGIT.search(cell) and says("ditto", cell)


_DIGIT = re.compile(r"\d")
LONGEST_DITTO = 30  # characters


def carried_down(context: Context, column: Column, cells: Coded) -> Coded:
    """A merged cell speaks for every row it spans."""
    n = column.number
    spans = [
        (first, left, last) for first, left, last, right in context.grid.merged if left <= n <= right and last > first
    ]
    if not spans:
        return cells
    texts, blank = cells.cells(), cells.blank
    starts = np.searchsorted(context.numbers, [first for first, _, _ in spans]).tolist()
    stops = np.searchsorted(context.numbers, [last for _, _, last in spans], side="right").tolist()
    heads = context.grid.positions([first for first, _, _ in spans]).tolist()
    for (_, left, _), start, stop, at in zip(spans, starts, stops, heads, strict=True):
        said = context.grid.cell(at, left) if at >= 0 and blank[start:stop].any() else ""
        if said != "":
            texts[start:stop][blank[start:stop]] = said
            blank[start:stop] = False
    return coded(texts)
