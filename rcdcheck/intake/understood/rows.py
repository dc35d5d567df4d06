"""What each row below a heading is: a test, a section, the heading repeated, or something to pass over.

Every non-blank row gets exactly one kind, so that the account adds up: heading + test + passed over = non-blank. A row
that holds so much as an outlet, a check or a reading is a row of the table and never a section or a note.
"""

from __future__ import annotations

import functools
import re

import numpy as np
import numpy.typing as npt

from rcdcheck import data
from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY
from rcdcheck.intake.understood.facts import labelled
from rcdcheck.intake.understood.first_cells import Leftmost, any_filled, leftmost, named_alone, rows_holding
from rcdcheck.intake.understood.grammars import CHECK, READING, Kind, grammars
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.sections import (
    before_test,
    is_check_word,
    name_over,
    opens_repeats,
    over_headings,
    with_sections,
)
from rcdcheck.intake.understood.table import Table
from rcdcheck.numbering import distinct_codes
from rcdcheck.tables import Mask

SAMPLED = 5_000  # test rows whose identifiers show what identifiers of this table look like


def classify(grid: Grid, full: Mask, table: Table) -> Rows:
    """Kinds of the rows in [start, stop) of a table."""
    span = slice(table.start, table.stop)
    inside = full[span]
    count = inside.sum(axis=1)
    kind = np.where(count > 0, RowKind.NOTE, RowKind.BLANK).astype(np.int8)
    first = leftmost(grid, inside, span)
    reads = any_filled(inside, [c.number for c in table.readings + table.of(*CHECKS, "pass_ticks", "fail_ticks")])
    measures = rows_holding(grid, [c.number for c in table.readings], span, READING | Kind.PAIR | Kind.UNMEASURED)
    checked = rows_holding(grid, [c.number for c in table.of(*CHECKS)], span, CHECK)
    named = any_filled(inside, [c.number for c in table.of(*IDENTITY)])
    alone = count == 1
    fits = _fits_its_columns(grid, table, span)
    kind[(named & ~alone & (fits | reads)) | measures | (reads & named)] = RowKind.TEST
    kind[named & ~alone & (count >= 3)] = RowKind.TEST
    kind[_shaped_like_identifiers(grid, table, span, named & (count <= 2), kind == RowKind.TEST)] = RowKind.TEST
    kind[_parts_of_devices(grid, table, span, inside, kind)] = RowKind.TEST
    some = count > 0
    kind[first.fits(_is_labelled, some & (kind == RowKind.TEST) & ~measures & ~checked)] = RowKind.NOTE
    kind[_spare(grid, table, span, inside) & ~measures] = RowKind.SPARE
    total = first.fits(_is_total, some)
    if total.any():
        kind[total & ~_tested(grid, table, span)] = RowKind.TOTAL
    kind[_counts_of_outcomes(grid, span, first, some & (count == 2) & ~measures & ~checked)] = RowKind.TOTAL
    kind[first.fits(lambda text: _pattern("signature").match(text) is not None, some & ~measures)] = RowKind.SIGNATURE
    kind[_repeated_heading(grid, table, span, inside)] = RowKind.HEADING
    kind[_ruled(grid, inside, span) & (kind == RowKind.TEST)] = RowKind.NOTE
    kind[first.fits(lambda text: _page().fullmatch(text) is not None, (count <= 2) & ~measures & ~checked)] = (
        RowKind.NOTE
    )
    kind[first.fits(opens_repeats, some & (count <= 2) & ~measures)] = RowKind.RETESTS
    continued = _continued(grid, table, inside, kind)
    sections = named_alone(grid, inside, span, (count <= 2) & (kind == RowKind.NOTE) & before_test(kind))
    rated = rows_holding(grid, [c.number for c in table.of("rated_residual_current")], span, Kind.RATED)
    over = over_headings(grid, span, kind, count) & ~measures & ~checked & ~rated
    kind[sections | over | _described(grid, table, span, kind, count)] = RowKind.SECTION
    return with_sections(grid, table, kind, first, continued, name_over(grid, full, table, kind))


def _is_total(text: str) -> bool:
    """Whether a first cell begins with a word for a sum or a mean, or ends in one: "L2 average"."""
    last = text.split()[-1:] if len(text.split()) <= 3 else []
    return any(_pattern("total").match(part) for part in (text, *last))


def _tested(grid: Grid, table: Table, span: slice) -> Mask:
    """Rows that hold a check and something like an identifier: no totals, whatever their first word."""
    device = [c.number for c in table.of("device")][:1]
    checks = [c.number for c in table.of(*CHECKS)]
    return rows_holding(grid, device, span, Kind.CODE) & rows_holding(grid, checks, span, CHECK)


def _fits_its_columns(grid: Grid, table: Table, span: slice) -> Mask:
    """Rows with a second cell, beside the identifier, that is of the kind of its column."""
    found = np.zeros(span.stop - span.start, dtype=bool)
    for c in table.columns:
        if c.meaning.field in ("", *IDENTITY):
            continue
        found |= grid.columns[c.number].codes[span] != 0
    return found


def _parts_of_devices(grid: Grid, table: Table, span: slice, inside: Mask, kind: npt.NDArray[np.int8]) -> Mask:
    """Rows without an identifier that hold an outlet, a check, or a phase or multiple: of the device above them."""
    some = any_filled(inside, [c.number for c in table.of("outlet", "phase", "multiple", "quantity")])
    checks = rows_holding(grid, [c.number for c in table.of(*CHECKS, "pass_ticks", "fail_ticks")], span, CHECK)
    below = np.maximum.accumulate(np.where(kind == RowKind.TEST, 1, 0)) > 0
    result: Mask = (some & (kind == RowKind.NOTE) & below & _small_outlets(grid, table, span)) | (
        checks & (kind == RowKind.NOTE) & below
    )
    return result


def _small_outlets(grid: Grid, table: Table, span: slice) -> Mask:
    """Rows whose outlet cell is not a long text (a note may stand in any column)."""
    found = np.ones(span.stop - span.start, dtype=bool)
    for c in table.of("outlet"):
        column = grid.columns[c.number]
        short = np.array([len(as_typed(t)) <= 20 for t in column.distinct], dtype=bool)
        found &= short[column.codes[span]]
    return found


def _counts_of_outcomes(grid: Grid, span: slice, first: Leftmost, among: Mask) -> Mask:
    """Rows such as "Passed | 8" and "Not tested | 1" below a table."""
    found = first.fits(is_check_word, among)
    for at in np.flatnonzero(found):
        cells = [cell for cell in grid.row(span.start + int(at)) if cell != ""]
        found[at] = bool(grammars(cells[1]) & Kind.WHOLE)
    return found


def _described(grid: Grid, table: Table, span: slice, kind: npt.NDArray[np.int8], count: npt.NDArray[np.int64]) -> Mask:
    """Lines that name a board and say words about it where readings would stand ("Distro B" | "food row, 32 A"), over
    devices whose names begin anew below each."""
    found = np.zeros(len(kind), dtype=bool)
    device = [grid.columns[c.number] for c in table.of("device")][:1]
    if not device:
        return found
    readings = {c.number for c in table.readings}
    codes = device[0].codes[span]
    opened = np.append(np.isin(kind[:-1], (RowKind.BLANK, RowKind.HEADING)), False)
    over = np.flatnonzero((kind[1:] == RowKind.TEST) & (kind[:-1] == RowKind.TEST) & (count[:-1] == 2))
    at = [int(i) for i in over if codes[i] and (i == 0 or opened[i - 1])]
    at = [i for i in at if any(_only_words(grid.cell(span.start + i, c)) for c in readings)]
    if len(at) > 1 and len({int(codes[i + 1]) for i in at}) == 1 and len({int(codes[i]) for i in at}) == len(at):
        found[at] = True
    return found


def _only_words(cell: object) -> bool:
    """Whether a cell holds words that say nothing of a test."""
    kind = grammars(cell)
    measured = (
        READING | Kind.PAIR | Kind.UNMEASURED | Kind.NO_TRIP | Kind.BOUND | Kind.FAIL | Kind.FAULT | Kind.NO_ACCESS
    )
    return isinstance(cell, str) and cell != "" and not kind & measured


def _spare(grid: Grid, table: Table, span: slice, inside: Mask) -> Mask:
    """Rows of a way that is called spare, and hold nothing that was tested, rated or speaks of a fault.

    A device with a name of its own is kept, whatever is said of it.
    """
    said, named = np.zeros(len(inside), dtype=bool), np.zeros(len(inside), dtype=bool)
    for c in table.of(*IDENTITY, "location", "model", "remark", ""):
        column = grid.columns[c.number]
        spare = column.ask(lambda cell: _pattern("spare").fullmatch(as_typed(cell)) is not None, column.codes[span])
        said |= spare
        if c.meaning.field == "device":
            named |= inside[:, c.number] & ~spare
    said &= ~named
    tested = table.readings + table.of(*CHECKS, "pass_ticks", "fail_ticks", "rated_residual_current")
    said &= ~any_filled(inside, [c.number for c in tested])
    rows = np.flatnonzero(said)
    for column in grid.columns if len(rows) else ():
        said[rows] &= ~column.ask(_speaks_of_fault, column.codes[span][rows])
    return said


def _speaks_of_fault(cell: object) -> bool:
    return cell != "" and bool(grammars(cell) & (Kind.FAULT | Kind.FAIL | Kind.NO_TRIP | Kind.BOUND))


def _ruled(grid: Grid, inside: Mask, span: slice) -> Mask:
    """Lines drawn with signs (`---|---`): at least two in a row in every cell that is filled."""
    drawn: Mask = np.array(inside.any(axis=1))
    for place, column in enumerate(grid.columns):
        codes = column.codes[span]
        some = np.flatnonzero(drawn & inside[:, place])
        drawn[some] = column.ask(lambda cell: isinstance(cell, str) and _RULE.fullmatch(cell) is not None, codes[some])
    return drawn


_RULE = re.compile(r"\s*[-=_+:|~]{2,}\s*")


def _is_labelled(text: str) -> bool:
    """Whether a text states something of all tests, as "Tester: PG" does."""
    return ":" in text and labelled(text)[0] != ""


def _shape(text: object) -> str:
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", as_typed(text)))


def _shaped_like_identifiers(grid: Grid, table: Table, span: slice, alone: Mask, tests: Mask) -> Mask:
    """Rows of one cell, or two, that name a device as the rows with readings do: it is listed, and was not tested."""
    found = np.zeros(len(tests), dtype=bool)
    lone, usual_rows = np.flatnonzero(alone), np.flatnonzero(tests)[:SAMPLED]
    for c in table.of(*IDENTITY):
        column = grid.columns[c.number]
        codes = column.codes[span]
        usual = {_shape(column.distinct[i]) for i in distinct_codes(codes[usual_rows])} - {"", "a"}
        here = [_shape(column.distinct[i]) in usual for i in codes[lone]]
        found[lone] |= np.array(here, dtype=bool)
    return found


@functools.cache
def _page() -> re.Pattern[str]:
    """ "Page 2 of 3"."""
    rows = data.toml("words.toml")["rows"]
    page, of = ("|".join(map(re.escape, rows[table])) for table in ("page", "page_of"))
    return re.compile(rf"\s*(?:{page})\.?\s*\d+(?:\s*(?:{of})\s*\d+)?\s*", re.IGNORECASE)


@functools.cache
def _pattern(table: str) -> re.Pattern[str]:
    words = data.toml("words.toml")["rows"][table]
    whole = data.toml("words.toml")["rows"]["whole"] if table == "total" else []
    alone = "|".join(rf"{re.escape(w)}\s*:?\s*$" for w in whole) or "(?!)"
    things = "tested|passed|failed|devices|items|units|leads|rcds?"
    counted = rf"(?:pass(?:ed)?|fail(?:ed)?|tested)\s*[:=]\s*\d|\d+\s+(?:{things})\b"
    more = f"|{counted}" if table == "total" else ""
    return re.compile(r"\s*(?:(?:" + "|".join(map(re.escape, words)) + rf")\b|{alone}{more})", re.IGNORECASE)


def _repeated_heading(grid: Grid, table: Table, span: slice, inside: Mask) -> Mask:
    """Rows equal to one of the heading rows in every cell that they fill."""
    result: Mask = np.zeros(len(inside), dtype=bool)
    full = inside.sum(axis=1)
    for at in table.heading_rows:
        same, filled = np.zeros(len(inside), dtype=int), 0
        for c, column in enumerate(grid.columns):
            code = column.codes[at]
            if code:
                filled += 1
                same += inside[:, c] & (column.codes[span] == code)
        result |= (same == full) & (full >= min(2, filled))
    return result & inside.any(axis=1)


def _continued(grid: Grid, table: Table, inside: Mask, kind: npt.NDArray[np.int8]) -> dict[int, int]:
    """Rows of words alone in the column of remarks, directly under a test: they go on with its remark."""
    remarks = {c.number for c in table.of("remark", "remedy")} | _unheaded(grid, table)
    out: dict[int, int] = {}
    for at in np.flatnonzero((kind == RowKind.NOTE) & (inside.sum(axis=1) <= 2)):
        own = set(np.flatnonzero(inside[at]).tolist())
        above = at - 1
        if own <= remarks and above >= 0 and (kind[above] == RowKind.TEST or int(above) in out):
            out[int(at)] = out.get(int(above), int(above))
            kind[at] = RowKind.CONTINUED
    return out


def _unheaded(grid: Grid, table: Table) -> set[int]:
    """Columns right of the table's own that no heading names: people write there what had no place."""
    last = max((c.number for c in table.columns), default=0)
    return set(range(last + 1, len(grid.columns)))
