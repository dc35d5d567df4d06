"""A legend that stands to the right of the rows of tests, a blank column between: its lines are of no row.

"CODES", "X | did not trip", "HALF | Y = went at half current, N = stayed on", "All 30 mA".
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Coded, Grid, coded
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.legend import LONGEST_MARK, Legend, entries_of, explains, meaning_of, opens_legend
from rcdcheck.intake.understood.ratings import rating_of_all

WIDEST = 3  # columns of such a legend
HIGHEST = 60  # and its lines


def legend_beside(grid: Grid) -> tuple[Grid, Legend, list[Fact]]:
    """The sheet without the lines of a legend beside its rows, what they explain, and the rating they state of all."""
    columns = _right_of_a_gap(grid)
    lines = {at: [as_typed(grid.cell(at, c)).strip() for c in columns] for at in _filled(grid, columns)}
    opened = [at for at, cells in lines.items() if opens_legend(" ".join(cells))]
    told = {at: _entries(list(filter(None, cells)), bool(opened)) for at, cells in lines.items()}
    told = {at: entries for at, entries in told.items() if entries or explains(" | ".join(lines[at]))}
    if len(told) + len(opened) < 2 or not any(told.values()):
        return grid, {}, []
    rated = {at: rating for at, cells in lines.items() if (rating := rating_of_all(" ".join(cells)))}
    gone = sorted({*told, *opened, *rated})
    facts = [Fact("rated_residual_current", rating, int(grid.numbers[at]), columns[0]) for at, rating in rated.items()]
    legend = {mark: kind for entries in told.values() for mark, kind in entries.items()}
    left = [_without(c, gone) if n in columns else c for n, c in enumerate(grid.columns)]
    return replace(grid, columns=tuple(left)), legend, facts[:1]


def _right_of_a_gap(grid: Grid) -> list[int]:
    """The filled columns to the right of the last blank one, where they are few."""
    filled = [bool((column.codes != 0).any()) for column in grid.columns]
    gaps = [n for n, some in enumerate(filled) if not some and any(filled[:n]) and any(filled[n:])]
    columns = [n for n, some in enumerate(filled) if some and gaps and n > gaps[-1]]
    return columns if len(columns) <= WIDEST else []


def _filled(grid: Grid, columns: list[int]) -> list[int]:
    """The rows in which these columns hold words; none where they hold a number, as columns of a table do."""
    if not columns or any(not isinstance(cell, str) for c in columns for cell in grid.columns[c].parted()[1]):
        return []
    rows: list[int] = np.flatnonzero(np.any([grid.columns[c].codes != 0 for c in columns], axis=0)).tolist()
    return rows if len(rows) <= HIGHEST else []


def _entries(cells: list[str], opened: bool) -> Legend:
    """The marks that a line explains, by the heading before them where one stands there; `opened`: below "Codes"."""
    if opened and len(cells) == 2 and "=" not in cells[1] and len(cells[0]) <= LONGEST_MARK:
        kind = meaning_of(cells[1])
        return {cells[0].casefold(): kind} if kind else {}
    return entries_of(cells)


def _without(column: Coded, rows: list[int]) -> Coded:
    cells = column.cells()
    cells[rows] = ""
    return coded(cells)
