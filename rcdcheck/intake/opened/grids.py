"""A sheet as coded columns of cells, whatever kind of file it came from."""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.opened.numbered import alike, shapes
from rcdcheck.numbering import distinct_codes
from rcdcheck.tables import Codes, Mask, Texts


def no_special() -> pd.DataFrame:
    """The table of special cells of a sheet that has none."""
    dtypes = {"row": "int64", "column": "int64", "kind": "object", "text": "object"}
    return pd.DataFrame({name: pd.Series(dtype=dtype) for name, dtype in dtypes.items()})


@dataclass(frozen=True)
class Coded:
    """A column of cells: `distinct[codes]`. Code 0 is the blank cell, and `distinct[0]` is always ""."""

    codes: Codes
    distinct: Texts

    def cells(self, at: npt.NDArray[np.int64] | Mask | slice = slice(None)) -> Texts:
        """The cells at these positions, all of them by default."""
        cells: Texts = self.distinct[self.codes[at]]
        return cells

    @functools.cached_property
    def shapes(self) -> tuple[npt.NDArray[np.intp], Texts]:
        """For each distinct text the number of its shape, and the shapes: texts with every digit as 0."""
        return shapes(self.distinct)

    @functools.cached_property
    def alike(self) -> Codes:
        """For each distinct text the first that differs from it in its number only."""
        return alike(*self.shapes)

    def ask(self, question: Callable[[Any], bool], codes: npt.NDArray[np.integer[Any]]) -> Mask:
        """The answers to a question about words, for cells with these codes; of texts that differ in their number only
        one is asked."""
        if not len(codes):
            return np.zeros(0, dtype=bool)
        asked = self.alike[codes]
        used = distinct_codes(asked)
        answers = np.zeros(len(self.distinct), dtype=bool)
        answers[used] = [question(text) for text in self.distinct[used]]
        return answers[asked]

    @property
    def blank(self) -> Mask:
        """Which cells are blank."""
        return self.codes == 0

    def parted(self) -> tuple[npt.NDArray[np.intp], Texts]:
        """Each distinct cell that stands here, in order of first places, and its number for every cell."""
        numbers, used = pd.factorize(self.codes)
        return numbers, self.distinct[used]

    def told(self, say: Callable[[Any], object]) -> Coded:
        """The column with what is said of each cell in its place, asked once for each distinct cell."""
        numbers, distinct = self.parted()
        said = np.empty(len(distinct), dtype=object)
        said[:] = [say(cell) for cell in distinct]
        return coded(said).taken(numbers)

    def taken(self, at: npt.NDArray[np.integer[Any]] | slice) -> Coded:
        """The column made of the cells at these positions."""
        return self._recoded(self.codes[at])

    def without(self, cells: Mask) -> Coded:
        """The column with these cells blank."""
        return self._recoded(np.where(cells, np.int32(0), self.codes))

    def _recoded(self, codes: Codes) -> Coded:
        """Other codes into the same distinct cells; what is known of these is not asked again."""
        column = Coded(codes, self.distinct)
        vars(column).update({name: known for name, known in vars(self).items() if name in ("alike", "shapes")})
        return column


def coded(cells: Texts) -> Coded:
    """Cells ("" for blank) as a coded column."""
    codes, distinct = pd.factorize(cells)
    blank = np.flatnonzero(distinct == "") if len(distinct) else np.zeros(0, dtype=np.int64)
    if len(blank) == 0:
        distinct, codes = np.append(np.array([""], dtype=object), distinct), codes + 1
    elif blank[0] != 0:  # the blank changes places with the first
        at = int(blank[0])
        order = np.arange(len(distinct))
        order[0], order[at] = at, 0
        distinct, codes = distinct[order], order[codes]
    return Coded(codes.astype(np.int32), distinct)


def nothing(n: int) -> Coded:
    """A column of `n` blank cells."""
    return Coded(np.zeros(n, dtype=np.int32), np.array([""], dtype=object))


@dataclass(frozen=True)
class Grid:
    """One sheet.

    columns: of equal length. Cells: "" for blank, str, float, datetime, time, timedelta; never None, NaN, int or bool
        (TRUE and FALSE are texts).
    numbers: the row, as the person sees it, of each position.
    merged: (first row, first column, last row, last column), rows as in `numbers`, columns from 0.
    special: row, column, kind (formula, formula_without_value, error, comment, filled, struck, hidden_row with column
        -1, hidden_column with row 0; torn and cut_off in delimited text) and text.
    places: where the sheet was turned or folded into a table: row and column, as the person sees them, of each cell,
        shape (height, columns, 2); `numbers` then counts positions from 1.
    pasted: its rows are lines of delimited text, which stood in one column.
    """

    sheet: str
    kind: str
    columns: tuple[Coded, ...]
    numbers: npt.NDArray[np.int64]
    hidden: bool = False
    saved_at: dt.datetime | None = None
    merged: tuple[tuple[int, int, int, int], ...] = ()
    special: pd.DataFrame = field(default_factory=no_special)
    places: npt.NDArray[np.int32] | None = None
    pasted: bool = False

    @property
    def height(self) -> int:
        """How many positions there are."""
        return len(self.numbers)

    @property
    def turned(self) -> bool:
        """Whether its cells stand elsewhere in the sheet that the person sees."""
        return self.places is not None

    def place(self, row: int, column: int) -> tuple[int, int]:
        """Row and column as the person sees them."""
        if self.places is None:
            return row, column
        at = self.positions([row])[0]
        if at < 0:
            return 0, column
        seen_row, seen_column = self.places[at, max(column, 0)].tolist()
        return seen_row, seen_column if column >= 0 else -1

    def places_of(self, at: npt.NDArray[np.int64], column: int) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
        """Rows and columns, as the person sees them, of the cells of one column at these positions; shape (n,) each."""
        if self.places is None:
            return self.numbers[at], np.full(len(at), column)
        return self.places[at, column, 0], self.places[at, column, 1]

    def cell(self, at: int, column: int) -> object:
        """One cell by position."""
        own = self.columns[column]
        return own.distinct[own.codes[at]]

    def row(self, at: int) -> list[object]:
        """All cells of one position."""
        return [c.distinct[c.codes[at]] for c in self.columns]

    def positions(self, rows: Sequence[int] | pd.Series[int] | npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Position of each row as the person sees it, -1 where there is none; `numbers` ascends."""
        wanted = np.asarray(rows, dtype=np.int64)
        at = np.searchsorted(self.numbers, wanted)
        inside = at < len(self.numbers)
        found = np.where(inside, at, 0)
        known = inside & (self.numbers[found] == wanted) if len(self.numbers) else np.zeros(len(wanted), dtype=bool)
        return np.where(known, found, -1)

    @property
    def filled(self) -> Mask:
        """Which cells are not blank, shape (rows, columns); error cells and formulas without a value are not."""
        full = np.zeros((self.height, len(self.columns)), dtype=bool)
        for i, column in enumerate(self.columns):
            full[:, i] = column.codes != 0
        loud = self.special[self.special["kind"].isin(["error", "formula_without_value"])]
        if len(loud):
            at, across = self.positions(loud["row"].to_numpy()), loud["column"].to_numpy()
            inside = (at >= 0) & (across >= 0) & (across < full.shape[1])
            full[at[inside], across[inside]] = True
        return full


def on_its_side(grid: Grid) -> Grid:
    """The same sheet with rows and columns changed over, below the lines of title as they stand: after these, each
    position is a column, counted from 1 in `numbers`."""
    titles = _titles(grid)
    rows = [np.array(grid.row(at), dtype=object) for at in range(grid.height)]
    above = np.full((titles, grid.height - titles), "", dtype=object)
    places = np.zeros((titles + len(grid.columns), grid.height - titles, 2), dtype=np.int32)
    for line, row in enumerate(rows[:titles]):
        column = int(np.argmax(row != "")) if len(row) else 0
        above[line, :1], places[line, :] = row[column : column + 1], (grid.numbers[line], column)
    columns = tuple(coded(np.concatenate([above[:, i], row])) for i, row in enumerate(rows[titles:]))
    turned = np.stack(np.meshgrid(grid.numbers[titles:], np.arange(len(grid.columns))), axis=-1)
    places[titles:] = turned.astype(np.int32)
    special = grid.special[(grid.special["row"] > 0) & (grid.special["column"] >= 0)]
    at = grid.positions(special["row"].to_numpy())
    title = at < titles
    row = np.where(title, at + 1, special["column"].to_numpy() + 1 + titles)
    over = special.assign(row=row, column=np.where(title, 0, at - titles))[at >= 0]
    merged = tuple(
        (left + 1 + titles, int(top) - titles, right + 1 + titles, int(bottom) - titles)
        for (_, left, _, right), (top, bottom) in ((m, grid.positions([m[0], m[2]])) for m in grid.merged)
        if top >= titles and bottom >= titles
    )
    numbers = np.arange(1, titles + len(grid.columns) + 1)
    return replace(grid, columns=columns, numbers=numbers, merged=merged, special=over, places=places)


def _titles(grid: Grid) -> int:
    """How many lines of one cell, or blank ones, stand above the first line of several."""
    several = np.flatnonzero(grid.filled.sum(axis=1) > 1)
    return int(several[0]) if len(several) else 0
