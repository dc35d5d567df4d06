"""A sheet whose lines of delimited text were pasted into one column: parted into the columns that they had."""

from __future__ import annotations

import csv
from collections import Counter
from dataclasses import replace

import numpy as np
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.delimited import torn_lines
from rcdcheck.intake.opened.grids import Grid, coded

SEPARATORS = ",;\t|"
LEAST = 3  # lines, and separators in each of them
MOSTLY = 0.7  # share of the lines that have as many separators as most
HIGHEST = 20_000  # rows of such a sheet


def parted_lines(grid: Grid) -> Grid | None:
    """The sheet with a column for each part of its lines; None where it is no such sheet."""
    filled = [c for c, column in enumerate(grid.columns) if (column.codes != 0).any()]
    if len(filled) != 1 or not LEAST <= grid.height <= HIGHEST:
        return None
    lines = [as_typed(cell) for cell in grid.columns[filled[0]].cells()]
    sign = next((sign for sign in SEPARATORS if _parts(lines, sign)), "")
    if not sign:
        return None
    parted = [next(csv.reader([line.replace("\n", " ")], delimiter=sign), []) if line else [] for line in lines]
    width = max(map(len, parted))
    cells = np.full((len(lines), width), "", dtype=object)
    for at, parts in enumerate(parted):
        cells[at, : len(parts)] = [part.strip() for part in parts]
    place = np.stack(np.broadcast_arrays(grid.numbers[:, None], np.full((1, width), filled[0])), axis=-1)
    columns = tuple(coded(np.ascontiguousarray(cells[:, c])) for c in range(width))
    return replace(
        grid, columns=columns, merged=(), special=_special(grid, parted), places=place.astype(np.int32), pasted=True
    )


def _special(grid: Grid, parted: list[list[str]]) -> pd.DataFrame:
    """The special cells of the sheet, and the last part of each line that is torn or cut off."""
    ends = np.array([max(len(parts) - 1, 0) for parts in parted])
    first = np.array([parts[0] if parts else "" for parts in parted], dtype=object)
    cut_off = (grid.special["kind"] == "cut_off").to_numpy()
    found = [(at, "cut_off") for at in grid.positions(grid.special["row"].to_numpy()[cut_off]).tolist()]
    found += [(at, "torn") for at in np.flatnonzero(torn_lines(ends, first)).tolist()]
    broken = [(int(grid.numbers[at]), int(ends[at]), kind, "".join(parted[at][-1:])) for at, kind in found]
    columns = ["row", "column", "kind", "text"]
    kept = grid.special[~cut_off].assign(column=0)
    return pd.concat([kept, pd.DataFrame(broken, columns=columns)], ignore_index=True) if broken else kept


def _parts(lines: list[str], sign: str) -> bool:
    """Whether a sign parts most lines into equally many pieces."""
    often = Counter(line.count(sign) for line in lines if line)
    many, n = max(often.items(), key=lambda told: told[1])
    return many >= LEAST and n >= max(LEAST, MOSTLY * often.total())
