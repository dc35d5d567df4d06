"""What the lines above a table say of all its tests: who, when, with which instrument, where."""

from __future__ import annotations

from collections.abc import Sequence

from rcdcheck.intake.labels import Fact, facts_of_row
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.table_finding import Table
from rcdcheck.records import Mask, as_typed


def title_blocks(grid: Grid, full: Mask, tables: Sequence[Table], tests: Mask) -> list[list[Fact]]:
    """Facts for each table; what stands over the first holds for the others, unless lines directly over them differ.

    tests: which rows are tests or headings. Lines that touch the table above them are its own, and no title.
    """
    first: list[Fact] = []
    out: list[list[Fact]] = []
    for table in tables:
        top = table.heading_rows[0]
        rows = range(top) if not out else _directly_above(full, top, tests)
        own = [fact for row in rows for fact in facts_of_row(grid, row)]
        if not out:
            first = own
        named = {fact.field for fact in own}
        out.append(_certain([*own, *(f for f in first if f.field not in named)]))
    return out


def _directly_above(full: Mask, top: int, tests: Mask) -> range:
    """Rows between a heading and the blank row above it; none where they touch the table above."""
    row = top
    while row > 0 and full[row - 1].any() and not tests[row - 1]:
        row -= 1
    return range(row, top) if row > 0 and not full[row - 1].any() else range(0)


def _certain(facts: Sequence[Fact]) -> list[Fact]:
    """One fact for each field; a field stated twice and differently is no fact."""
    said = {f.field: {as_typed(g.value) for g in facts if g.field == f.field} for f in facts}
    return list({f.field: f for f in reversed(facts) if len(said[f.field]) == 1}.values())
