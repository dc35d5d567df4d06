"""The rating that a line states of all devices: below the tables of a sheet, or in a sheet without one for the others.

"All RCDs are 30 mA" in a foot, "Rating of every RCD | 30 mA" on the first sheet of a workbook.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.ratings import rating_of_all
from rcdcheck.intake.understood.row_kinds import RowKind
from rcdcheck.intake.understood.sheet import Understood

LINES = 60  # of a sheet without a table, and of the foot of one, that are looked at
FIELD = "rated_residual_current"


def with_ratings(senses: Sequence[Understood]) -> list[Understood]:
    """The sheets of one file; a table over which no rating stands takes that of the foot of its sheet, or that of a
    sheet without a table."""
    elsewhere = [
        replace(fact, sheet=s.grid.sheet) for s in senses if s.reason for fact in _stated(s.grid, range(s.grid.height))
    ]
    return [s if s.reason else _with(_with(s, _below(s)), elsewhere) for s in senses]


def _with(sense: Understood, stated: Sequence[Fact]) -> Understood:
    if len({fact.value for fact in stated}) != 1:
        return sense
    facts = [f if any(fact.field == FIELD for fact in f) else [*f, stated[0]] for f in sense.facts]
    return replace(sense, facts=tuple(facts))


def _below(sense: Understood) -> list[Fact]:
    last = int(np.flatnonzero(sense.kinds == RowKind.TEST)[-1])
    return list(_stated(sense.grid, range(last + 1, sense.grid.height)))


def _stated(grid: Grid, rows: Iterable[int]) -> Iterator[Fact]:
    filled = ([(c, as_typed(cell)) for c, cell in enumerate(grid.row(at)) if cell != ""] for at in list(rows)[:LINES])
    for at, cells in zip(rows, filled, strict=False):
        line = " ".join(text for _, text in cells)
        rating = rating_of_all(line) if len(cells) <= 2 else ""
        if rating:
            yield Fact(FIELD, rating, int(grid.numbers[at]), cells[-1][0])
