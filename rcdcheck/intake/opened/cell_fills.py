"""Which fills of cells stand out: what most of a column has is decoration, and so are bands across many rows."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable
from typing import Any

Fill = tuple[int, int, str]  # row from 1, column from 0, colour
_USUAL = 0.4  # of the cells of a column or row, from here on a colour is usual there
_BANDS = 0.25  # of the rows, from here on a colour across them is decoration
_FEW = 3  # cells of a colour are too few to be usual; a line of a legend holds no more texts
_WORD = re.compile(r"[^\W\d_]{2}")


def that_stand_out(fills: Collection[Fill], rows: list[list[Any]]) -> list[Fill]:
    """The fills that are not usual in their column, nor of a band across many rows; and those of a legend."""
    width = len(rows[0]) if rows else 0
    inside = [fill for fill in fills if fill[0] <= len(rows) and fill[1] < width]
    if not inside:
        return []
    blank = [(r, c) for r, c, _ in inside if rows[r - 1][c] == ""]
    down = _usual([(c, colour) for _, c, colour in inside], [c for _, c in blank], lambda c: [row[c] for row in rows])
    along = _usual([(r, colour) for r, _, colour in inside], [r for r, _ in blank], lambda r: rows[r - 1])
    bands = _bands(along, len(rows))
    odd = {f for f in inside if (f[1], f[2]) not in down and ((f[0], f[2]) not in along or f[2] not in bands)}
    told = {colour for _, _, colour in odd}
    legend = (f for f in inside if ((f[1], f[2]) not in down or f[2] in told) and _in_legend(f, rows[f[0] - 1]))
    return sorted(odd.union(legend))


def _bands(along: Collection[tuple[int, str]], height: int) -> set[str]:
    """Colours that run across so many rows that they are bands; a few rows painted across are meant."""
    rows = Counter(colour for _, colour in along)
    return {colour for colour, n in rows.items() if n > _BANDS * height}


def _usual(
    fills: Iterable[tuple[int, str]], blank: Iterable[int], values: Callable[[int], list[Any]]
) -> set[tuple[int, str]]:
    """The colours that are usual, each with the column (or row) where it is.

    fills: column and colour of each; blank: columns of those without a value; values: what a column holds. A colour is
    usual where it is that of a good part of the cells that have a value or a fill.
    """
    many = {line: n for line, n in Counter(fills).items() if n >= _FEW}
    blanks = Counter(blank)
    sizes = {c: blanks[c] + len(held) - held.count("") for c in {c for c, _ in many} for held in [values(c)]}
    return {(c, colour) for (c, colour), n in many.items() if n > _USUAL * sizes[c]}


def _in_legend(fill: Fill, row: list[Any]) -> bool:
    """Whether a cell says, by its own text or by that beside it, what its colour means; in a row with little else."""
    if sum(value != "" for value in row) > _FEW:
        return False
    return any(isinstance(value, str) and _WORD.search(value) for value in row[fill[1] : fill[1] + 2])
