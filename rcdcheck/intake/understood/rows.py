"""What each row below a heading is: a test, a section, the heading repeated, or something to pass over.

Every non-blank row gets exactly one kind, so that the account adds up: heading + test + passed over = non-blank. A row
that holds so much as an outlet, a check or a reading is a row of the table and never a section or a note.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.intake.cells.date_cells import date_cell
from rcdcheck.intake.cells.words import opens_with, says
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY
from rcdcheck.intake.understood.facts import facts_of_row, labelled
from rcdcheck.intake.understood.grammars import CHECK, READING, Kind, grammars
from rcdcheck.intake.understood.lexicon import names
from rcdcheck.intake.understood.tables import Table
from rcdcheck.records import Mask, Texts, as_typed

SAMPLED = 5_000  # test rows whose identifiers show what identifiers of this table look like


class RowKind(IntEnum):
    """Kinds of row; those from SECTION on are passed over, with their name as the reason."""

    BLANK = 0
    HEADING = 1
    TEST = 2
    SECTION = 3
    TOTAL = 4
    SIGNATURE = 5
    NOTE = 6
    TITLE = 7
    CONTINUED = 8
    RETESTS = 9
    SPARE = 10

    @property
    def reason(self) -> str:
        """Why a row was passed over, in words."""
        return {
            RowKind.SECTION: "section line",
            RowKind.TOTAL: "total or average",
            RowKind.SIGNATURE: "signature line",
            RowKind.NOTE: "note outside the table",
            RowKind.TITLE: "above the table",
            RowKind.CONTINUED: "goes on with the remark above",
            RowKind.RETESTS: "the rows below are repeats",
            RowKind.SPARE: "a spare way, with no device",
        }[self]


@dataclass(frozen=True)
class Rows:
    """kind: RowKind of each row of the table's span, shape (stop - start,); section: text of the section above it.

    section_field: what section lines name: "site" where one says so itself ("Site: Ice rink"), "board", "tested_at", or
        empty.
    repeats: rows that stand under a line such as RE-TESTS. continued: position in the span of each row that goes on
    with a remark → position of the test row that it belongs to.
    """

    kind: npt.NDArray[np.int8]
    section: Texts
    section_field: str = ""
    repeats: Mask = field(default_factory=lambda: np.zeros(0, dtype=bool))
    continued: dict[int, int] = field(default_factory=dict)


def classify(grid: Grid, full: Mask, table: Table) -> Rows:
    """Kinds of the rows in [start, stop) of a table."""
    span = slice(table.start, table.stop)
    inside = full[span]
    count = inside.sum(axis=1)
    kind = np.where(count > 0, RowKind.NOTE, RowKind.BLANK).astype(np.int8)
    first = _first(grid, inside, span)
    reads = _any(inside, [c.number for c in table.readings + table.of(*CHECKS, "pass_ticks", "fail_ticks")])
    measures = _holding(grid, [c.number for c in table.readings], span, READING | Kind.PAIR | Kind.UNMEASURED)
    checked = _holding(grid, [c.number for c in table.of(*CHECKS)], span, CHECK)
    named = _any(inside, [c.number for c in table.of(*IDENTITY)])
    alone = count == 1
    fits = _fits_its_columns(grid, table, span)
    kind[(named & ~alone & (fits | reads)) | measures | (reads & named)] = RowKind.TEST
    kind[named & ~alone & (count >= 3)] = RowKind.TEST
    kind[_shaped_like_identifiers(grid, table, span, named & (count <= 2), kind == RowKind.TEST)] = RowKind.TEST
    kind[_parts_of_devices(grid, table, span, inside, kind)] = RowKind.TEST
    some = count > 0
    kind[first.fits(_is_labelled, some & (kind == RowKind.TEST) & ~measures & ~checked)] = RowKind.NOTE
    kind[_spare(grid, table, span, inside) & ~measures] = RowKind.SPARE
    total = first.fits(lambda text: _pattern("total").match(text) is not None, some)
    if total.any():
        kind[total & ~_tested(grid, table, span)] = RowKind.TOTAL
    kind[_counts_of_outcomes(grid, span, first, some & (count == 2) & ~measures & ~checked)] = RowKind.TOTAL
    kind[first.fits(lambda text: _pattern("signature").match(text) is not None, some & ~measures)] = RowKind.SIGNATURE
    kind[_repeated_heading(grid, table, span, inside)] = RowKind.HEADING
    kind[_ruled(grid, inside, span) & (kind == RowKind.TEST)] = RowKind.NOTE
    kind[first.fits(_opens_repeats, some & (count <= 2) & ~measures)] = RowKind.RETESTS
    continued = _continued(grid, table, span, inside, kind)
    sections = (count <= 2) & (kind == RowKind.NOTE) & _before_test(kind) & _first_alone(grid, inside, span)
    rated = _holding(grid, [c.number for c in table.of("rated_residual_current")], span, Kind.RATED)
    over = _over_headings(grid, span, kind, count) & ~measures & ~checked & ~rated
    kind[sections | over] = RowKind.SECTION
    return _with_sections(grid, table, kind, first, continued, _name_over(grid, full, table, kind))


def _any(inside: Mask, columns: list[int]) -> Mask:
    found: Mask = np.any(inside[:, columns], axis=1)
    return found


def _holding(grid: Grid, columns: list[int], span: slice, wanted: Kind) -> Mask:
    """Rows in which any cell of these columns is read by one of these grammars."""
    found = np.zeros(span.stop - span.start, dtype=bool)
    for c in columns:
        column = grid.columns[c]
        codes = column.codes[span]
        holds = np.zeros(len(column.distinct), dtype=bool)
        used = np.unique(codes)
        holds[used] = [_reads(column.distinct[i], wanted) for i in used]
        found |= holds[codes]
    return found


def _reads(cell: object, wanted: Kind) -> bool:
    if cell == "":
        return False
    digits = bool(wanted & Kind.NUMBER) and (not isinstance(cell, str) or bool(re.search(r"\d", cell)))
    return digits or bool(grammars(cell) & wanted)


def _tested(grid: Grid, table: Table, span: slice) -> Mask:
    """Rows that hold a check and something like an identifier: no totals, whatever their first word."""
    device = [c.number for c in table.of("device")][:1]
    checks = [c.number for c in table.of(*CHECKS)]
    return _holding(grid, device, span, Kind.CODE) & _holding(grid, checks, span, CHECK)


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
    some = _any(inside, [c.number for c in table.of("outlet", "phase", "multiple", "quantity")])
    checks = _holding(grid, [c.number for c in table.of(*CHECKS, "pass_ticks", "fail_ticks")], span, CHECK)
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


def _counts_of_outcomes(grid: Grid, span: slice, first: _First, among: Mask) -> Mask:
    """Rows such as "Passed | 8" and "Not tested | 1" below a table."""
    found = first.fits(_is_check_word, among)
    for at in np.flatnonzero(found):
        cells = [cell for cell in grid.row(span.start + int(at)) if cell != ""]
        found[at] = bool(grammars(cells[1]) & Kind.WHOLE)
    return found


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
    said &= ~_any(inside, [c.number for c in tested])
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


@dataclass(frozen=True)
class _First:
    """The leftmost filled cell of each row of a span: its column (-1 for a blank row) and its code there."""

    grid: Grid
    column: npt.NDArray[np.int64]
    code: npt.NDArray[np.int32]

    def fits(self, wanted: Callable[[str], bool], among: Mask) -> Mask:
        """Rows among these whose first text fits; `wanted` asks about its words and not about its number."""
        out = np.zeros(len(self.column), dtype=bool)
        for c in np.unique(self.column[among & (self.column >= 0)]):
            here = np.flatnonzero(among & (self.column == c))
            out[here] = self.grid.columns[c].ask(lambda cell: wanted(as_typed(cell)), self.code[here])
        return out

    def text(self, at: int) -> str:
        """The text of one row."""
        c = self.column[at]
        return as_typed(self.grid.columns[c].distinct[self.code[at]]) if c >= 0 else ""


def _first(grid: Grid, inside: Mask, span: slice) -> _First:
    at = np.where(inside.any(axis=1), inside.argmax(axis=1), -1) if inside.shape[1] else np.full(len(inside), -1)
    code = np.zeros(len(inside), dtype=np.int32)
    for c in np.unique(at[at >= 0]):
        here = at == c
        code[here] = grid.columns[c].codes[span][here]
    return _First(grid, at, code)


def _first_alone(grid: Grid, inside: Mask, span: slice) -> Mask:
    """Rows with one filled cell, or with two of which the second belongs to the first ("Site:" | "Ice rink")."""
    count = inside.sum(axis=1)
    out: Mask = count == 1
    for at in np.flatnonzero(count == 2):
        place = int(inside[at].argmax())
        out[at] = as_typed(grid.cell(span.start + int(at), place)).rstrip().endswith(":")
    return out


def _is_labelled(text: str) -> bool:
    """Whether a text states something of all tests, as "Tester: PG" does."""
    return ":" in text and labelled(text)[0] != ""


def _over_headings(grid: Grid, span: slice, kind: npt.NDArray[np.int8], count: npt.NDArray[np.int64]) -> Mask:
    """Rows of a name ("Shop 2" | "Hairdresser", "Board" | "DB2" | "First floor") over headings that are said again.

    A wider row is one where it states a board or a site ("Board:" | "DB-B" | "3 phase" | "location:" | "grading line").

    Below a blank row: what stands over the headings of a new page with no row between is the last device of the one
    before.
    """
    below, above = np.append(kind[1:], RowKind.BLANK), np.append(RowKind.TEST, kind[:-1])
    few = (count >= 2) & (count <= 4)
    parted = (below == RowKind.HEADING) & (above == RowKind.BLANK)
    over: Mask = np.isin(kind, (RowKind.NOTE, RowKind.TEST)) & parted
    for at in np.flatnonzero(over & (count > 4)):
        few[at] = any(fact.field in ("board", "site") for fact in facts_of_row(grid, span.start + int(at)))
    return over & few


def _name_over(grid: Grid, full: Mask, table: Table, kind: npt.NDArray[np.int8]) -> str:
    """What stands directly over the headings where such a line stands over them each time they are said again."""
    top = table.heading_rows[0] - 1
    again = kind[:-1][kind[1:] == RowKind.HEADING] if len(kind) > 1 else kind[:0]
    if top < 0 or not len(again) or (again != RowKind.SECTION).any() or not 1 <= full[top].sum() <= 2:
        return ""
    return as_typed(next(cell for cell in grid.row(top) if cell != "")).strip()


def _shape(text: object) -> str:
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", as_typed(text)))


def _shaped_like_identifiers(grid: Grid, table: Table, span: slice, alone: Mask, tests: Mask) -> Mask:
    """Rows of one cell, or two, that name a device as the rows with readings do: it is listed, and was not tested."""
    found = np.zeros(len(tests), dtype=bool)
    lone, usual_rows = np.flatnonzero(alone), np.flatnonzero(tests)[:SAMPLED]
    for c in table.of(*IDENTITY):
        column = grid.columns[c.number]
        codes = column.codes[span]
        usual = {_shape(column.distinct[i]) for i in np.unique(codes[usual_rows])} - {"", "a"}
        here = [_shape(column.distinct[i]) in usual for i in codes[lone]]
        found[lone] |= np.array(here, dtype=bool)
    return found


@functools.cache
def _pattern(table: str) -> re.Pattern[str]:
    words = data.toml("words.toml")["rows"][table]
    whole = data.toml("words.toml")["rows"]["whole"] if table == "total" else []
    alone = "|".join(rf"{re.escape(w)}\s*:?\s*$" for w in whole) or "(?!)"
    things = "tested|passed|failed|devices|items|units|leads|rcds?"
    counted = rf"(?:pass(?:ed)?|fail(?:ed)?|tested)\s*[:=]\s*\d|\d+\s+(?:{things})\b"
    more = f"|{counted}" if table == "total" else ""
    return re.compile(r"\s*(?:(?:" + "|".join(map(re.escape, words)) + rf")\b|{alone}{more})", re.IGNORECASE)


def _opens_repeats(text: str) -> bool:
    """Whether a text is such as RE-TESTS or "Repeats:", under which tests of devices above stand again."""
    word = re.sub(r"\(?\b\d{1,4}[./-]\d{1,2}(?:[./-]\d{2,4})?\)?", "", text)  # the day of the repeats
    word = re.sub(r"^[\s\-=*–—]+|[\s:\-=*–—]+$", "", word)
    named = says("repeat", word) or says("repeat", word.rstrip("sS"))
    opened = opens_with("repeat", word.casefold().replace("tests", "test"))
    return named or (opened and len(word.split()) <= 8 and not re.search(r"\d", word))


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


def _before_test(kind: npt.NDArray[np.int8]) -> Mask:
    """Rows whose next row that is neither blank nor a note is a test or a heading."""
    after = pd.Series([*kind[1:].tolist(), 0]).replace([RowKind.BLANK, RowKind.NOTE], np.nan).bfill()
    return after.isin([RowKind.TEST, RowKind.HEADING]).to_numpy()


def _continued(grid: Grid, table: Table, span: slice, inside: Mask, kind: npt.NDArray[np.int8]) -> dict[int, int]:
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


def _with_sections(
    grid: Grid, table: Table, kind: npt.NDArray[np.int8], first: _First, continued: dict[int, int], over: str
) -> Rows:
    """The rows with the section above each; a line such as "Tested by: …" names no section and stays a note."""
    texts: dict[int, str] = {}
    fields = set()
    for at in np.flatnonzero(kind == RowKind.SECTION):
        text = first.text(int(at))
        name, value = labelled(text)
        beside = [fact for fact in facts_of_row(grid, table.start + int(at)) if fact.field in ("board", "site")]
        if not name and beside:
            name, value = beside[0].field, as_typed(beside[0].value)
        if date_cell(text).readable:
            texts[int(at)] = text
            fields.add("tested_at")
        elif name in ("site", "board"):
            texts[int(at)] = value
            fields.add(name)
        elif name or _is_check_word(text):
            kind[at] = RowKind.NOTE
        else:
            texts[int(at)] = text
            fields.add("board" if names_board(text) else "")
    section = np.full(len(kind), over if not labelled(over)[0] else "", dtype=object)
    for begins, text in texts.items():
        section[begins:] = text
    named = fields.pop() if len(fields) == 1 else ""
    return Rows(kind, section, named, _under(kind), continued)


def _is_check_word(text: str) -> bool:
    return bool(grammars(text) & (CHECK | READING | Kind.UNMEASURED | Kind.FAULT | Kind.NO_ACCESS))


def names_board(text: str) -> bool:
    """Whether a text calls a switchboard by its number or letter: "Board 2", "DB 3 (First floor)"."""
    text = re.sub(r"\(.*\)$|\s[-–—].*$", "", text)
    words = re.sub(r"[\W_]*\d+\w*", "", text).strip()
    return any(f.part.value == "board" and f.quality >= 0.9 for f in names(words)) if words else False


def _directly_under(kind: npt.NDArray[np.int8]) -> Mask:
    """Headings said again directly under a line of repeats."""
    above = pd.Series(kind).replace([RowKind.BLANK, RowKind.NOTE], np.nan).shift().ffill()
    result: Mask = (above == RowKind.RETESTS).to_numpy() & (kind == RowKind.HEADING)
    return result


def _under(kind: npt.NDArray[np.int8]) -> Mask:
    """Rows below a line of repeats, up to the next section or heading."""
    opened = pd.Series(np.where(kind == RowKind.RETESTS, 1.0, np.nan))
    opened[np.isin(kind, (RowKind.SECTION, RowKind.HEADING)) & ~_directly_under(kind)] = 0.0
    result: Mask = opened.ffill().fillna(0.0).to_numpy() > 0
    return result
