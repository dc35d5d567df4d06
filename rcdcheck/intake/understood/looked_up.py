"""Codes of one sheet that another explains ("K2" → "RCCB 4 pole, selective", "300"): what it says stands beside each.

A sheet without tests explains codes where one of its columns holds each code of a column of tests, once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Coded, Grid, coded
from rcdcheck.intake.understood.sheet import Understood
from rcdcheck.numbering import distinct_codes

HIGHEST, WIDEST = 200, 12  # of a sheet that explains codes
LEAST = 2  # codes that it explains
_CODED = (
    "",
    "ignore",
    "model",
    "kind",
    "class",
    "rcd_type",
    "waveform_type",
    "delay",
    "rated_residual_current",
    "device",
)  # a list of devices with the rating of each


def with_codes(senses: Sequence[Understood]) -> list[Grid | None]:
    """For each sheet its grid with what other sheets say of its codes, or None where they say nothing."""
    lists = [sense.grid for sense in senses if sense.reason and 2 <= len(sense.grid.columns) <= WIDEST]
    lists = [grid for grid in lists if LEAST < grid.height <= HIGHEST and not grid.turned]
    if not lists:
        return [None] * len(senses)
    return [None if sense.reason or sense.grid.turned else _explained(sense, lists) for sense in senses]


def _explained(sense: Understood, lists: Sequence[Grid]) -> Grid | None:
    for table in sense.tables:
        for column in (c for c in table.columns if c.meaning.field in _CODED and c not in table.readings):
            own = sense.grid.columns[column.number]
            codes = {_folded(own.distinct[c]) for c in distinct_codes(own.codes[table.start : table.stop]) if c}
            for of_list in lists if len(codes) >= LEAST else ():
                for key, told in enumerate(of_list.columns):
                    rows = _rows_of(told, codes)
                    if rows:
                        return _joined(sense.grid, column.number, table.heading_rows[-1], of_list, key, rows)
    return None


def _folded(cell: object) -> str:
    return " ".join(as_typed(cell).casefold().split())


def _rows_of(key: Coded, codes: set[str]) -> dict[str, int]:
    """The row that explains each code; empty unless all are explained, each once, and by words and not by counting."""
    texts = [_folded(cell) for cell in key.cells()]
    rows = {text: at for at, text in enumerate(texts) if text in codes}
    once = all(texts.count(code) == 1 for code in codes) and not all(code.isdigit() for code in codes)
    return rows if once and codes == set(rows) else {}


def _joined(grid: Grid, number: int, heading: int, told: Grid, key: int, rows: dict[str, int]) -> Grid:
    """The grid with the other columns of a list; their cells are pointed at where the code stands."""
    own = [_folded(cell) for cell in grid.columns[number].cells()]
    head = max(0, min(rows.values()) - 1)
    more = []
    for c, column in enumerate(told.columns):
        cells = np.array([told.cell(rows[t], c) if t in rows else "" for t in own], dtype=object)
        cells[heading] = told.cell(head, c)
        more += [coded(cells)] if c != key and (column.codes != 0).any() else []
    source = np.array([*range(len(grid.columns)), *[number] * len(more)])
    places = np.stack(np.broadcast_arrays(grid.numbers[:, None], source[None, :]), axis=-1).astype(np.int32)
    special = grid.special.copy()
    special["row"] = np.searchsorted(grid.numbers, special["row"]) + 1
    return replace(grid, columns=(*grid.columns, *more), numbers=np.arange(1, grid.height + 1), places=places,
                   special=special)  # fmt: skip
