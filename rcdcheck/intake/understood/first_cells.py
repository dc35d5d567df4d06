"""The leftmost filled cell of each row, and rows that hold cells of a kind."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.numbering import distinct_codes
from rcdcheck.tables import Mask


def any_filled(inside: Mask, columns: list[int]) -> Mask:
    """Rows in which any of these columns is filled; shape (rows,)."""
    found: Mask = np.any(inside[:, columns], axis=1)
    return found


def rows_holding(grid: Grid, columns: list[int], span: slice, wanted: Kind) -> Mask:
    """Rows in which any cell of these columns is read by one of these grammars."""
    found = np.zeros(span.stop - span.start, dtype=bool)
    for c in columns:
        column = grid.columns[c]
        codes = column.codes[span]
        holds = np.zeros(len(column.distinct), dtype=bool)
        here = distinct_codes(codes)
        holds[here] = [_reads(column.distinct[i], wanted) for i in here]
        found |= holds[codes]
    return found


def _reads(cell: object, wanted: Kind) -> bool:
    if cell == "":
        return False
    digits = bool(wanted & Kind.NUMBER) and (not isinstance(cell, str) or bool(re.search(r"\d", cell)))
    return digits or bool(grammars(cell) & wanted)


@dataclass(frozen=True)
class Leftmost:
    """The leftmost filled cell of each row of a span: its column (-1 for a blank row) and its code there."""

    grid: Grid
    column: npt.NDArray[np.int64]
    code: npt.NDArray[np.int32]

    def fits(self, wanted: Callable[[str], bool], among: Mask) -> Mask:
        """Rows among these whose first text fits; `wanted` asks about its words and not about its number."""
        out = np.zeros(len(self.column), dtype=bool)
        for c in np.unique(self.column[among & (self.column >= 0)]):
            here = np.flatnonzero(among & (self.column == c))
            out[here] = self.grid.columns[c].ask(lambda cell: wanted(as_typed(cell)), self.code[here])
        return out

    def text(self, at: int) -> str:
        """The text of one row."""
        c = self.column[at]
        return as_typed(self.grid.columns[c].distinct[self.code[at]]) if c >= 0 else ""


def leftmost(grid: Grid, inside: Mask, span: slice) -> Leftmost:
    """The leftmost filled cell of each row of a span."""
    at = np.where(inside.any(axis=1), inside.argmax(axis=1), -1) if inside.shape[1] else np.full(len(inside), -1)
    code = np.zeros(len(inside), dtype=np.int32)
    for c in np.unique(at[at >= 0]):
        here = at == c
        code[here] = grid.columns[c].codes[span][here]
    return Leftmost(grid, at, code)


def named_alone(grid: Grid, inside: Mask, span: slice, among: Mask) -> Mask:
    """Rows among these with one filled cell, or two of which the second belongs to the first ("Site:" | "Ice rink")."""
    out = among.copy()
    rows = np.flatnonzero(among)
    count = inside[rows].sum(axis=1)
    out[rows] = count == 1
    for at in rows[count == 2]:
        place = int(inside[at].argmax())
        out[at] = as_typed(grid.cell(span.start + int(at), place)).rstrip().endswith(":")
    return out
