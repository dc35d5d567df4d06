"""Reading a column through its distinct cells: each is looked at once, however often it stands there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.intake.opened.grids import Coded
from rcdcheck.tables import Texts

Cells = Texts | Coded
Notes = tuple[tuple[str, dict[str, str]], ...]  # findings of a whole column: (code, words of the message)


@dataclass(frozen=True)
class TextColumn:
    """value: what each cell says, problem: finding code, suggestion: what was perhaps meant; shapes (n,)."""

    value: Texts
    problem: Texts
    suggestion: Texts


def parted(cells: Cells) -> tuple[npt.NDArray[np.intp], Texts]:
    """The number of each cell, and the distinct cells in order of first places."""
    return cells.parted() if isinstance(cells, Coded) else pd.factorize(cells)


def spread(cells: Cells, read: Callable[[Any], tuple[Any, ...]], dtypes: Sequence[str]) -> list[npt.NDArray[Any]]:
    """`read` applied to each distinct cell; its answers as arrays of the shape of `cells`, one for each dtype."""
    codes, distinct = parted(cells)
    return arrays([read(cell) for cell in distinct], dtypes, codes)


def arrays(
    rows: Sequence[tuple[Any, ...]], dtypes: Sequence[str], codes: npt.NDArray[np.intp]
) -> list[npt.NDArray[Any]]:
    """Answers of the distinct cells as one array for each dtype, spread by `codes` to the cells."""
    out = []
    for i, dtype in enumerate(dtypes):
        column = np.empty(len(rows), dtype=dtype)
        column[:] = [row[i] for row in rows]
        out.append(column[codes])
    return out


def text_column(cells: Cells, read: Callable[[Any], tuple[str, str, str]]) -> TextColumn:
    """A TextColumn from a function that gives value, problem and suggestion of one cell."""
    return TextColumn(*spread(cells, read, ("object", "object", "object")))
