"""A whole sheet understood: its tables, what each of its rows is, what stands above them, and what it leaves open."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import NO_HEADING, as_typed
from rcdcheck.intake.cells.classes import NO_NAMES, TypeNames
from rcdcheck.intake.opened.cards import folded_cards
from rcdcheck.intake.opened.grids import Coded, Grid, coded, on_its_side
from rcdcheck.intake.opened.pasted import parted_lines
from rcdcheck.intake.understood.candidates import IDENTITY
from rcdcheck.intake.understood.colours import Colours, colours_of
from rcdcheck.intake.understood.facts import Fact
from rcdcheck.intake.understood.footnotes import Notes, notes_apart
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.in_words import in_columns
from rcdcheck.intake.understood.legend import Legend, legend_of
from rcdcheck.intake.understood.legend_beside import legend_beside
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.parts_of_test import part_of_test
from rcdcheck.intake.understood.ratings import rating_in
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.rows import classify
from rcdcheck.intake.understood.sections import names_board
from rcdcheck.intake.understood.stated import for_sheet
from rcdcheck.intake.understood.table import Table
from rcdcheck.intake.understood.tables import find_tables, missing_parts
from rcdcheck.intake.understood.titles import title_blocks
from rcdcheck.intake.understood.visits import in_visits
from rcdcheck.intake.understood.word_rows import reads_down
from rcdcheck.options import Options
from rcdcheck.tables import Mask

AGREES = 0.3  # what cells say of their columns on average, below which a list of headings is no table on its side
DIFFERENT = 0.7  # share of different headings below which a list of headings is no table on its side
WORDED = 0.3  # share of headings that still differ without their numbers, below which they are names of devices
CLEARLY = 0.5  # more sense that another way has to make than the sheet as it stands
WIDEST_ON_ITS_SIDE = 400  # columns or rows of a sheet that may lie on its side


@dataclass(frozen=True)
class Understood:
    """A sheet and what it means: `kinds` of each position, `rows` and `facts` of each table, `reason` without one."""

    grid: Grid
    full: Mask
    tables: tuple[Table, ...]
    rows: tuple[Rows, ...]
    facts: tuple[list[Fact], ...]
    kinds: npt.NDArray[np.int8]
    above: frozenset[int]  # rows whose facts were read
    legend: Legend
    colours: Colours
    notes: Notes
    reason: str = ""

    @property
    def worth(self) -> float:
        """How much sense its columns make, on average: a sheet on its side has as many as the person has rows."""
        columns = sum(len(table.columns) for table in self.tables)
        return sum(table.score for table in self.tables) / columns if columns else 0.0

    @property
    def covers(self) -> float:
        """Share of the filled cells that stand in rows of headings or tests."""
        read = np.isin(self.kinds, (RowKind.HEADING, RowKind.TEST))
        return float(self.full[read].sum() / max(1, self.full.sum()))


def understand(
    grid: Grid,
    options: Options,
    settled: dict[tuple[int, int], Meaning] | None = None,
    types: TypeNames = NO_NAMES,
) -> Understood:
    """Understand one sheet; one whose columns agree across and not down on its side, one of cards folded.

    settled: meanings of columns by number and row of their headings, which another world than the best has.
    types: what the rule set calls types of devices.
    """
    upright = _understood(grid, options, settled or {}, types)
    for other, more in _other_ways(grid, upright):
        sense = _understood(other, options, settled or {}, types)
        agrees = not sense.reason and all(table.fit >= AGREES and _told_apart(table) for table in sense.tables)
        most = 2 * upright.covers < sense.covers and sense.worth > AGREES
        if agrees and (upright.reason or most or sense.worth > upright.worth + more):
            return sense
    return upright


def _other_ways(grid: Grid, upright: Understood) -> Iterator[tuple[Grid, float]]:
    """The sheet folded from cards, with its notes in columns, and on its side, where it may be one of these, and
    how much more sense each has to make."""
    lines = parted_lines(grid)
    if lines is not None:
        yield lines, 0.0
    cards = folded_cards(grid)
    if cards is not None:
        yield cards, CLEARLY
    apart = in_columns(grid)
    if apart is not None:
        yield apart, 0.0
    small = 2 <= len(grid.columns) <= WIDEST_ON_ITS_SIDE and grid.height <= WIDEST_ON_ITS_SIDE
    if small and reads_down(grid, upright.full):
        yield on_its_side(_units_in_labels(grid)), CLEARLY


def _units_in_labels(grid: Grid) -> Grid:
    """The sheet with the units that a column of a form holds ("Trip time 0°" | 26 | "ms") in its labels instead."""
    first = next((n for n, column in enumerate(grid.columns) if (column.codes != 0).any()), 0)
    later = {n: grid.columns[n] for n in range(first + 2, len(grid.columns)) if _only_units(grid.columns[n])}
    if len(later) != 1:
        return grid
    ((number, units),) = later.items()
    labels = grid.columns[first].cells()
    for at in np.flatnonzero(units.codes):
        labels[at] = f"{as_typed(labels[at])} ({as_typed(units.distinct[units.codes[at]]).strip()})"
    blank = coded(np.full(grid.height, "", dtype=object))
    changed = {first: coded(labels), number: blank}
    return replace(grid, columns=tuple(changed.get(n, c) for n, c in enumerate(grid.columns)))


def _only_units(column: Coded) -> bool:
    cells = [as_typed(cell).strip() for cell in column.distinct[np.unique(column.codes)] if cell != ""]
    return bool(cells) and {"ms", "mA"} & set(cells) != set() and all(grammars(cell) & Kind.UNIT for cell in cells)


def _told_apart(table: Table) -> bool:
    """Whether headings differ: a list in which "0°" comes again for each device is a column of a long table, and one
    of which only the numbers differ ("RCD 1", "RCD 2") is a column of names."""
    columns = [c for c in table.columns if c.heading != NO_HEADING]
    headings = {normal(c.heading) for c in columns}
    read = {normal(c.heading) for c in columns if c.meaning.field == "reading"}  # "x1 0", "x5 180": numbers that tell
    worded = {heading if heading in read else re.sub(r"\d+", "", heading) for heading in headings}
    return len(headings) >= DIFFERENT * len(columns) and len(worded) >= WORDED * len(columns)


def _understood(grid: Grid, options: Options, settled: dict[tuple[int, int], Meaning], types: TypeNames) -> Understood:
    stated = for_sheet(options.columns, grid.sheet) | {
        f"#{number}@{row}": meaning for (number, row), meaning in settled.items()
    }
    grid, notes = notes_apart(grid)
    sheet = grid
    grid, aside, of_all = legend_beside(sheet)
    full = grid.filled
    legend = {**legend_of(grid, _few_cells(full)), **aside}
    tables = tuple(find_tables(grid, full, stated, options.as_of, legend, types))
    kinds = np.where(full.any(axis=1), RowKind.TITLE, RowKind.BLANK).astype(np.int8)
    rows = tuple(in_visits(grid, table, classify(grid, _only(full, beside(table, tables)), table)) for table in tables)
    for table, of_table in zip(tables, rows, strict=True):
        kinds[list(table.heading_rows)] = RowKind.HEADING
        span = kinds[table.start : table.stop]  # what a table beside this one made of a row stands where it is a test
        kinds[table.start : table.stop] = np.where(span == RowKind.TEST, span, of_table.kind)
    tops = [table.heading_rows[0] for table in tables]
    titles = title_blocks(grid, full, tops, np.isin(kinds, (RowKind.TEST, RowKind.HEADING)))
    titles = [
        _with_rating(table, _with_label(table, _with_name(grid, facts)), of_all)
        for table, facts in zip(tables, titles, strict=True)
    ]
    above = frozenset(fact.row for facts in titles for fact in facts)
    kinds[np.isin(grid.numbers, list(above)) & (kinds != RowKind.HEADING)] = RowKind.TITLE
    reason = ""
    if not (kinds == RowKind.TEST).any():
        reason = (
            "it has headings and no row of tests below them"
            if tables
            else missing_parts(grid, full, stated, options.as_of)
        )
        kinds[kinds > 0] = RowKind.TITLE
    colours = colours_of(sheet, kinds == RowKind.TEST)
    return Understood(grid, full, tables, rows, tuple(titles), kinds, above, legend, colours, notes, reason)


def _few_cells(full: Mask) -> Mask:
    """Rows that may explain marks: near the top or the end of the sheet, and not as wide as a row of tests."""
    few: Mask = full.any(axis=1) & (full.sum(axis=1) <= 8)
    if len(few) > 2 * LEGENDS:
        few[LEGENDS:-LEGENDS] = False
    return few


LEGENDS = 60  # rows from the top and from the end of a sheet in which marks are explained


def _with_label(table: Table, facts: list[Fact]) -> list[Fact]:
    """The facts above a table, and the site or board that a heading over the whole of it names beside another table."""
    field = "board" if names_board(table.label) else "site"
    if not table.label or table.of(field) or any(f.field == field for f in facts):
        return facts
    return [*facts, Fact(field, table.label, 0, table.columns[0].number)]


def _with_name(grid: Grid, facts: list[Fact]) -> list[Fact]:
    """The facts above a table, and the part of the test that its sheet is called by ("Half current")."""
    field, value = part_of_test(grid.sheet)
    return facts if not field or any(f.field == field for f in facts) else [*facts, Fact(field, value, 0, 0)]


def _with_rating(table: Table, facts: list[Fact], of_all: list[Fact]) -> list[Fact]:
    """The facts above a table, and the rating that a legend beside it or the heading of its devices states of them all:
    "RCD 30 mA"."""
    field = "rated_residual_current"
    if table.of(field) or any(fact.field == field for fact in facts):
        return facts
    headed = ((c, rating_in(c.heading)) for c in table.columns if c.meaning.field in IDENTITY)
    stated = [*of_all, *(Fact(field, rating, c.row, c.number) for c, rating in headed if rating)]
    return [*facts, *stated[:1]]


def beside(table: Table, tables: Sequence[Table]) -> set[int]:
    """Columns of the tables that stand beside this one in the same rows."""
    return {c.number for t in tables if t is not table and t.start == table.start for c in t.columns}


def _only(full: Mask, other: set[int]) -> Mask:
    """The filled cells that a table may look at: not those of a table beside it."""
    if not other:
        return full
    own = full.copy()
    own[:, sorted(other)] = False
    return own
