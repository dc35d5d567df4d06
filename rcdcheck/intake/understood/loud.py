"""Cells that say that something failed, wherever they stand: each counts as what it is, or leaves its device unclear.

Readings, checks, ratings and remarks are heard by those who read their columns. This file listens to everything else:
to columns of another meaning or of none, to comments, struck and coloured cells, to the rows between tests.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.opened.grids import Coded, Grid
from rcdcheck.intake.understood.asking import NO, YES, answer, asks_for_fault
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY, QUIET
from rcdcheck.intake.understood.colours import Colours, harmless, not_tested, says_fail
from rcdcheck.intake.understood.excess import failed_among_checks, too_large
from rcdcheck.intake.understood.grammars import CHECK, Kind, grammars
from rcdcheck.intake.understood.legend import Legend, explained
from rcdcheck.intake.understood.profiles import names_reading
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.spoken import nearly_failed, says_failed
from rcdcheck.intake.understood.table import Table
from rcdcheck.numbering import distinct_codes
from rcdcheck.sheet_fields import DATE_FIELDS, NUMBER_FIELDS

COUNTED = ("reading", "pair", "value", *CHECKS, "rated_residual_current", "pass_ticks", "fail_ticks", "untested_ticks",
           "rcd_type", "waveform_type", "delay")  # fmt: skip
PLACES = (*IDENTITY, "outlet", "location", "site", "model")  # columns of names of rooms too
NAMING = (*IDENTITY, "outlet")  # a single letter in them is a name
MEASURED = ("reading", "pair", "value")
SAYING = {"multiple": Kind.MULTIPLE, "phase": Kind.PHASE, "unit": Kind.UNIT, "quantity": Kind.QUANTITY}  # of its row
PARTS = ("test_current", "multiple", "quantity")
_PART_THAT_HOLDS = re.compile(  # "15 mA (no trip)" names a test
    r"\s*[\d.,½/]+\s?(?:mA|[x×%])?\s*I?[Δ∆d]?n?\s*[(,–-]\s*(?:no[- ]trip|must (?:not trip|hold))\)?\s*", re.IGNORECASE
)
WORDED = ("remark", "remedy")  # fault words in them are heard where remarks are read
RARE = 0.2  # share of a column up to which a mark that other columns use plainly stands out
DATED = (*DATE_FIELDS, "time")  # columns in which words are out of place
UNDECIDED = ("", *QUIET)  # meanings that nobody reads
MISTAKEN = 0.5  # share of loud cells above which a column is no such column, and every cell of it may say something
_LEGEND = re.compile(r"\b\w{1,12}\s*=\s*\w|legend|key:|\bcode\b|legende|légende", re.IGNORECASE)


@dataclass(frozen=True)
class Loud:
    """One loud cell: row and column as the person sees them, its text, and positions of the test rows it concerns.

    `number`: of the column that it stands in, -1 where it stands between the rows of tests.
    """

    row: int
    column: int
    text: str
    tests: tuple[int, ...]
    code: str = "cell-says-failed"
    number: int = -1


def loud_cells(grid: Grid, table: Table, rows: Rows, colours: Colours, legend: Legend) -> list[Loud]:
    """All loud cells of a table that nobody else hears; `colours` and `legend`: as the sheet explains them."""
    return [
        *_in_columns(grid, table, rows, legend),
        *_special(grid, table, rows, colours),
        *_between(grid, table, rows),
    ]


# ── columns ──
def _in_columns(grid: Grid, table: Table, rows: Rows, legend: Legend) -> Iterator[Loud]:
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    meaning = {c.number: c.meaning.field for c in table.columns}
    headed = {c.number for c in table.columns}
    stated = {c.number for c in table.columns if c.confirmed}
    worded = {c.number for c in table.columns if c.meaning.slot and 0 < c.meaning.slot.multiple < 1}  # words are read
    asking = {c.number for c in table.columns if asks_for_fault(c.heading)}
    span = _span(table, headed, len(grid.columns))
    for number, column in enumerate(grid.columns):
        field = meaning.get(number, "")
        if number not in headed and number not in span:
            continue
        codes = column.codes[at]
        if field in COUNTED:
            told = failed_among_checks(column, codes) if field in MEASURED and number not in worded else set()
        else:
            told = _loud_codes(column, codes, field, number in headed)
            told |= _explained_as_fail(column, codes, legend)
            told |= too_large(column, codes) if field not in NUMBER_FIELDS else set()
            told = _answered(column, told, codes) if field in WORDED and number in asking else told
        if not told:
            continue
        loud = np.isin(codes, list(told))
        if number not in stated and field in UNDECIDED and loud.sum() > MISTAKEN * (codes > 0).sum():
            loud = codes > 0
        for i in np.flatnonzero(loud):
            place = grid.place(int(grid.numbers[at[i]]), number)
            yield Loud(*place, as_typed(column.distinct[codes[i]]), (int(at[i]),), number=number)


def _explained_as_fail(column: Coded, codes: np.ndarray, legend: Legend) -> set[int]:
    """Codes of the marks that the sheet explains as a fault: "BTN = button dead"."""
    if Kind.FAIL not in legend.values() and Kind.NO_TRIP not in legend.values():
        return set()
    return {
        int(i) for i in np.unique(codes) if i and explained(column.distinct[i], legend) in (Kind.FAIL, Kind.NO_TRIP)
    }


def _answered(column: Coded, told: set[int], codes: np.ndarray) -> set[int]:
    """Loud cells under a heading that asks for a fault: "yes" is one, "no" is none."""
    said = {int(i): answer(as_typed(column.distinct[i])) for i in distinct_codes(codes) if i}
    return {i for i in told if said.get(i) != NO} | {i for i, a in said.items() if a == YES}


def _span(table: Table, headed: set[int], width: int) -> set[int]:
    """Columns that belong to a table: its own, those between, and those beside it where no other table stands there."""
    return set(range(min(headed), table.beyond if table.beyond >= 0 else width))


def _loud_codes(column: Coded, codes: np.ndarray, field: str, headed: bool) -> set[int]:
    """Codes of the cells of a column that are loud there."""
    counts = np.bincount(codes, minlength=len(column.distinct))
    filled_in = np.flatnonzero(counts[1:]) + 1
    speaking = filled_in[column.ask(_may_speak, filled_in)]
    if not len(speaking):
        return set()
    # of very many texts those that could not speak are all alike
    used = (filled_in if len(filled_in) <= MANY else speaking).tolist()
    kinds = {i: grammars(column.distinct[i]) for i in used}
    filled = int(counts[1:].sum())
    checks = sum(int(counts[i]) for i in used if kinds[i] & (CHECK | Kind.UNMEASURED)) / filled
    sparse = filled <= 0.34 * len(codes)

    def rare(wanted: Kind) -> bool:
        some = sum(int(counts[i]) for i in used if kinds[i] & wanted)
        return some <= max(1, RARE * filled)

    return {i for i in used if _is_loud(column.distinct[i], kinds[i], field, headed, checks, sparse, rare)}


def _may_speak(cell: object) -> bool:
    """Whether a cell is more than an identifier, a number or a date."""
    return (isinstance(cell, float) and cell == 0.0) or (isinstance(cell, str) and not _QUIET.fullmatch(cell))


_QUIET = re.compile(r"[A-Za-z]{0,4}[-/. ]?\d[\d\-/:.]*(?:[ T]\d\d?:\d\d(?::\d\d)?)?[A-Za-z]?")
MANY = 500  # different texts in a column


def _is_loud(
    cell: object, kind: Kind, field: str, headed: bool, checks: float, sparse: bool, rare: Callable[[Kind], bool]
) -> bool:
    if field in WORDED:
        if kind & Kind.FAULT or _number(cell):
            return bool(kind & (Kind.NO_TRIP | Kind.BOUND))
        said = _says_failed if field == "remark" else _nearly_failed  # plans in a remedy are heard where it is read
        denied = checks >= 0.6 and _begins_with_fail(cell)  # "NO - bin it" among "yes"
        return bool(kind & (Kind.NO_TRIP | Kind.BOUND | Kind.FAIL)) or said(cell) or denied
    if field in NAMING and kind & Kind.LETTER:  # outlet F, device N
        return False
    if kind & SAYING.get(field, Kind(0)) or (field in PARTS and _names_part(as_typed(cell))):
        return False
    if field in PLACES and isinstance(cell, str):
        cell = _without_rooms(cell)
        kind = grammars(cell)
    if field == "other_test" and kind & (
        Kind.NO_TRIP | Kind.BOUND
    ):  # the end of another range, where many cells hold it
        return _says_failed(cell) and rare(Kind.NO_TRIP | Kind.BOUND)
    if kind & Kind.FAULT or _says_failed(cell) or (field in DATED and _out_of_place(cell, kind)):
        return True
    if kind & Kind.FAIL and not kind & Kind.LETTER and not kind & Kind.TICK and len(as_typed(cell)) > 2:
        return True
    if kind & (Kind.NO_TRIP | Kind.BOUND):
        return rare(Kind.NO_TRIP | Kind.BOUND)
    if field == "" and kind & Kind.FAIL:
        return checks >= 0.6 or sparse
    if field and kind & Kind.FAIL and not _number(cell):
        return rare(Kind.FAIL) and (sparse or (kind & Kind.TICK != 0) or checks < 0.6)
    return field == "" and checks >= 0.6 and not kind & (CHECK | Kind.UNMEASURED)


def _names_part(text: str) -> bool:
    """Whether a cell names what its row tests, although its words may speak of a fault: "5 fois 0°"."""
    return names_reading(text) or bool(_PART_THAT_HOLDS.fullmatch(text))


def _without_rooms(text: str) -> str:
    """A name without its words that are rooms, and a fault in another language: "Vat wash"."""
    words = text.split()
    kept = [word for word in words if not says("rooms", word)]
    return text if len(kept) == len(words) else " ".join(kept)


def _begins_with_fail(cell: object) -> bool:
    """Whether the words before the first comma or dash of a cell are a fail."""
    first, *rest = re.split(r"\s[-–—]\s|[,;:(]", as_typed(cell), maxsplit=1)
    return bool(rest) and bool(grammars(first.strip()) & Kind.FAIL)


def _says_failed(cell: object) -> bool:
    return isinstance(cell, str) and says_failed(cell)


def _nearly_failed(cell: object) -> bool:
    return isinstance(cell, str) and nearly_failed(cell)


def _out_of_place(cell: object, kind: Kind) -> bool:
    """Words without a digit in a column of dates, where they do not say that there is none."""
    quiet = Kind.DATE | Kind.CLOCK | Kind.DITTO | Kind.UNMEASURED
    return isinstance(cell, str) and bool(kind & Kind.WORDS) and not kind & quiet and not re.search(r"\d", cell)


def _number(cell: object) -> bool:
    return isinstance(cell, float) or as_typed(cell).strip().isdigit()


# ── comments, strokes, colours ──
def _special(grid: Grid, table: Table, rows: Rows, colours: Colours) -> Iterator[Loud]:
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


# ── rows that are no tests ──
def _between(grid: Grid, table: Table, rows: Rows) -> Iterator[Loud]:
    """Loud cells in rows between tests: of the device that they name, else of the test above (and no later one); a
    line further down that names none is told, and concerns no one test."""
    tests = np.flatnonzero(rows.kind == RowKind.TEST)
    if not len(tests):
        return
    last = int(tests[-1])
    own = sorted({c.number for c in table.columns})
    for at in np.flatnonzero(np.isin(rows.kind, (RowKind.NOTE, RowKind.SECTION, RowKind.TOTAL))):
        cells = [(c, cell) for c, cell in enumerate(grid.row(table.start + int(at))) if cell != ""]
        texts = [(c, as_typed(cell)) for c, cell in cells if own[0] <= c and _speaks(cell)]
        if not texts or any(_LEGEND.search(t) for _, t in texts):
            continue
        named = _named_in(grid, table, rows, [t for _, t in texts]) or _pointing_at(grid, table, rows, texts[0][1])
        near = [int(i) for i in tests[tests < at][-1:] if at - i <= 2 and (at <= last or at - i == 1)]
        concerned = named or ([] if rows.kind[at] == RowKind.TOTAL else [i + table.start for i in near])
        if concerned or rows.kind[at] == RowKind.NOTE:
            code = "cell-says-failed" if concerned else "line-says-failed"
            for column, text in texts:
                yield Loud(*grid.place(int(grid.numbers[table.start + int(at)]), column), text, tuple(concerned), code)


def _pointing_at(grid: Grid, table: Table, rows: Rows, text: str) -> list[int]:
    """Positions of the test rows that point at a footnote: "2", "note 2" or "see (2)" where it begins "Note 2:"."""
    footnote = _FOOTNOTE.match(text)
    if not footnote:
        return []
    mark = footnote[1].casefold()
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    counted = {c.number for c in table.columns if c.meaning.field in COUNTED}
    found: list[int] = []
    for number, column in enumerate(grid.columns):
        told = [i for i, cell in enumerate(column.distinct) if _points_at(cell, mark, alone=number not in counted)]
        found += at[np.isin(column.codes[at], told)].tolist() if told else []
    return found


_FOOTNOTE = re.compile(r"\s*(?:\w{2,10}\.?\s+)?[(\[]?(\d{1,2}|\*{1,4}|[†‡])[)\]]?\s?[:.)\]=–-]?\s+[^\W\d]{2}")

_SEE = r"(?<!\w)(?:see|note|fn|footnote|siehe|anm|fußnote|voir|nota|ver|vedi|zie|noot)"


def _points_at(cell: object, mark: str, *, alone: bool) -> bool:
    text = as_typed(cell).strip().casefold() if cell != "" else ""
    if not text:
        return False
    if alone and text.strip("()[].") == mark:
        return True
    named = rf"{_SEE}\W+(?:note|nr|no)?\W*{re.escape(mark)}(?!\w)"
    return bool(re.search(named, text)) or (not mark.isdigit() and text.endswith(mark))


def _speaks(cell: object) -> bool:
    kind = grammars(cell)
    if kind & (Kind.FAULT | Kind.NO_TRIP | Kind.BOUND) or _says_failed(cell):
        return True
    return bool(kind & Kind.FAIL) and not _number(cell)


def _named_in(grid: Grid, table: Table, rows: Rows, texts: list[str]) -> list[int]:
    """Positions of the test rows whose identifier stands in one of the texts."""
    found: list[int] = []
    at = np.flatnonzero(rows.kind == RowKind.TEST) + table.start
    for c in table.of("device")[:1]:
        column = grid.columns[c.number]
        codes = column.codes[at]
        for code in distinct_codes(codes):
            name = as_typed(column.distinct[code]).strip()
            spelled = rf"(?<![\w-]){re.escape(name)}(?![\w-])"
            telling = len(name) >= (2 if re.search(r"\d", name) else 4)
            if telling and any(re.search(spelled, t, re.IGNORECASE) for t in texts):
                found += at[codes == code].tolist()
    return found
