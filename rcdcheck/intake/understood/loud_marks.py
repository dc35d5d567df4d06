"""Loud cells by their marks: a comment that speaks of failure, a stroke through a cell, a fill that stands out."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.colours import Colours, harmless, not_tested, says_fail
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.loud_cell import Loud
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table


def marked(grid: Grid, table: Table, rows: Rows, colours: Colours) -> Iterator[Loud]:
    """Cells of test rows that a mark makes loud, unless the sheet explains it (`colours`) or it is a habit there."""
    special = grid.special[grid.special["kind"].isin(["comment", "struck", "filled"])]
    if not len(special):
        return
    at = grid.positions(special["row"].to_numpy())
    inside = (at >= table.start) & (at < table.stop)
    filled = Counter(special["column"][inside & (special["kind"] == "filled").to_numpy()])
    tests = int((rows.kind == RowKind.TEST).sum())
    for position, told in zip(at[inside], special[inside].itertuples(), strict=True):
        if rows.kind[position - table.start] != RowKind.TEST:
            continue
        if told.kind == "comment" and not _speaks_of_failure(str(told.text)):
            continue
        if told.kind == "filled" and (_is_green(str(told.text)) or 2 * filled[told.column] > max(tests, 2)):
            continue  # a line of names over a table on its side is coloured whole
        if told.kind == "filled" and _heard_elsewhere(colours, str(told.text)):
            continue
        code = {"comment": "comment-says-failed", "struck": "cell-struck-through", "filled": "cell-stands-out"}[
            told.kind
        ]
        text = str(told.text) if told.kind == "comment" else as_typed(grid.cell(int(position), int(told.column)))
        yield Loud(*grid.place(int(grid.numbers[position]), int(told.column)), text, (int(position),), code)


def _heard_elsewhere(colours: Colours, fill: str) -> bool:
    """Whether the sheet explains a fill: a fail is its row's, "not tested" its remark, the harmless says nothing."""
    return says_fail(colours, fill) or not_tested(colours, fill) or harmless(colours, fill)


def _is_green(colour: str) -> bool:
    if not re.fullmatch(r"[0-9A-F]{6}", colour):
        return False
    red, green, blue = (int(colour[i : i + 2], 16) for i in (0, 2, 4))
    return green > red and green > blue


def _speaks_of_failure(text: str) -> bool:
    kind = grammars(text)
    return bool(kind & (Kind.FAULT | Kind.FAIL | Kind.NO_TRIP)) or bool(
        re.search(r"(?<!\w)(fail|nt|ol)(?!\w)", text, re.I)
    )
