"""Reading a column through its distinct cells: each is looked at once, however often it stands there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.records import Texts

Notes = tuple[tuple[str, dict[str, str]], ...]  # findings of a whole column: (code, words of the message)


@dataclass(frozen=True)
class TextColumn:
    """value: what each cell says, problem: finding code, suggestion: what was perhaps meant; shapes (n,)."""

    value: Texts
    problem: Texts
    suggestion: Texts


def spread(cells: Texts, read: Callable[[Any], tuple[Any, ...]], dtypes: Sequence[str]) -> list[npt.NDArray[Any]]:
    """`read` applied to each distinct cell; its answers as arrays of the shape of `cells`, one for each dtype."""
    codes, distinct = pd.factorize(cells)
    rows = [read(cell) for cell in distinct]
    return [
        _array([row[i] for row in rows], dtype)[codes] if rows else np.empty(0, dtype) for i, dtype in enumerate(dtypes)
    ]


def _array(values: list[Any], dtype: str) -> npt.NDArray[Any]:
    out = np.empty(len(values), dtype=dtype)
    out[:] = values
    return out


def text_column(cells: Texts, read: Callable[[Any], tuple[str, str, str]]) -> TextColumn:
    """A TextColumn from a function that gives value, problem and suggestion of one cell."""
    return TextColumn(*spread(cells, read, ("object", "object", "object")))
