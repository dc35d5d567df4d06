"""What each row below a heading is: a test, a section, the heading repeated, or something to pass over.

Every non-blank row gets exactly one kind, so that the account adds up: heading + test + passed over = non-blank.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck import data
from rcdcheck.intake.labels import labelled
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.table_finding import IDENTITY, Table
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

    @property
    def reason(self) -> str:
        """Why a row was passed over, in words."""
        return {
            RowKind.SECTION: "section line",
            RowKind.TOTAL: "total or average",
            RowKind.SIGNATURE: "signature line",
            RowKind.NOTE: "note outside the table",
            RowKind.TITLE: "above the table",
        }[self]


@dataclass(frozen=True)
class Rows:
    """kind: RowKind of each row of the table's span, shape (stop - start,); section: text of the section above it.

    sections_are_sites: whether a section line says so itself ("Site: Ice rink").
    """

    kind: npt.NDArray[np.int8]
    section: Texts
    sections_are_sites: bool = False


def classify(grid: Grid, full: Mask, table: Table) -> Rows:
    """Kinds of the rows in [start, stop) of a table."""
    span = slice(table.start, table.stop)
    inside = full[span]
    count = inside.sum(axis=1)
    kind = np.where(count > 0, RowKind.NOTE, RowKind.BLANK).astype(np.int8)
    first = _first_texts(grid, inside, span)
    reads = _any(inside, [c.number for c in table.readings + table.of("declared", "visual", "push_button")])
    measures = _holds_reading(grid, table, span)
    named = _any(inside, [c.number for c in table.of(*IDENTITY)])
    alone = count == 1
    kind[(named & ~alone) | measures | (reads & named)] = RowKind.TEST
    kind[_shaped_like_identifiers(grid, table, span, alone & named, kind == RowKind.TEST)] = RowKind.TEST
    kind[_worded(first, "total") & (count > 0)] = RowKind.TOTAL
    kind[_worded(first, "signature") & (count > 0) & ~measures] = RowKind.SIGNATURE
    kind[_repeated_heading(grid, table, span, inside)] = RowKind.HEADING
    kind[_ruled(grid, inside, span) & (kind == RowKind.TEST)] = RowKind.NOTE
    kind[alone & (kind == RowKind.NOTE) & _before_test(kind)] = RowKind.SECTION
    return _with_sections(kind, first)


def _ruled(grid: Grid, inside: Mask, span: slice) -> Mask:
    """Lines drawn with signs (`---|---`): at least two in a row in every cell that is filled."""
    drawn: Mask = np.array(inside.any(axis=1))
    for place, c in enumerate(grid.cells.columns):
        cells = grid.cells[c].to_numpy()[span]
        some = np.flatnonzero(drawn & inside[:, place])
        drawn[some] = [isinstance(t, str) and _RULE.fullmatch(t) is not None for t in cells[some]]
    return drawn


def _any(inside: Mask, columns: list[int]) -> Mask:
    found: Mask = np.any(inside[:, columns], axis=1)
    return found


def _first_texts(grid: Grid, inside: Mask, span: slice) -> Texts:
    """The leftmost filled cell of each row as text; empty for a blank row."""
    out = np.full(len(inside), "", dtype=object)
    at = inside.argmax(axis=1) if inside.shape[1] else np.zeros(len(inside), dtype=int)
    some = inside.any(axis=1)
    for column in np.unique(at[some]):
        here = some & (at == column)
        out[here] = grid.cells[column].to_numpy()[span][here]
    codes, distinct = pd.factorize(out)
    texts = np.array([as_typed(t) for t in distinct] or [""], dtype=object)
    result: Texts = texts[codes]
    return result


def _holds_reading(grid: Grid, table: Table, span: slice) -> Mask:
    """Whether any reading cell of a row holds a digit or says that the device did not trip."""
    from rcdcheck.intake.cells.readings import reading
    from rcdcheck.records import State

    found = np.zeros(span.stop - span.start, dtype=bool)
    for column in table.readings:
        codes, distinct = pd.factorize(grid.cells[column.number].to_numpy()[span])
        quantity = column.meaning.slot.quantity if column.meaning.slot else "trip_time"
        holds = np.fromiter(
            (
                not isinstance(c, str)
                or (c != "" and (bool(_DIGIT.search(c)) or reading(c, quantity=quantity).state == State.NOT_TRIPPED))
                for c in distinct
            ),
            bool,
        )
        found |= holds[codes]
    return found


_RULE = re.compile(r"\s*[-=_+:|~]{2,}\s*")
_DIGIT = re.compile(r"\d")


def _shape(text: object) -> str:
    return re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", as_typed(text)))


def _shaped_like_identifiers(grid: Grid, table: Table, span: slice, alone: Mask, tests: Mask) -> Mask:
    """Rows whose only cell looks like the identifiers beside readings: a device listed and not tested."""
    found = np.zeros(len(tests), dtype=bool)
    lone, usual_rows = np.flatnonzero(alone), np.flatnonzero(tests)[:SAMPLED]
    for column in table.of(*IDENTITY):
        cells = grid.cells[column.number].to_numpy()[span]
        usual = {_shape(t) for t in cells[usual_rows]} - {"", "a"}
        found[lone] |= np.array([_shape(t) in usual for t in cells[lone]], dtype=bool)
    return found


def _worded(first: Texts, table: str) -> Mask:
    """Rows whose first text begins with one of the words for totals or signatures."""
    words = data.toml("words.toml")["rows"][table]
    whole = data.toml("words.toml")["rows"]["whole"] if table == "total" else []
    alone = "|".join(rf"{re.escape(w)}\s*:?\s*$" for w in whole) or "(?!)"
    pattern = re.compile(r"\s*(?:(?:" + "|".join(re.escape(w) for w in words) + rf")\b|{alone})", re.IGNORECASE)
    codes, distinct = pd.factorize(first)
    matches = np.array([pattern.match(t) is not None for t in distinct], dtype=bool)
    result: Mask = matches[codes]
    return result


def _repeated_heading(grid: Grid, table: Table, span: slice, inside: Mask) -> Mask:
    """Rows equal to the heading row, or to either row of a pair, in every cell that they fill."""
    result: Mask = np.zeros(len(inside), dtype=bool)
    for at in table.heading_rows:
        texts = {c: as_typed(grid.cells.iat[at, c]) for c in grid.cells.columns}
        same = np.zeros(len(inside), dtype=int)
        for c, text in texts.items():
            if text:
                same += inside[:, c] & (grid.cells[c].to_numpy()[span] == grid.cells.iat[at, c])
        full = inside.sum(axis=1)
        result |= (same == full) & (full >= min(2, sum(map(bool, texts.values()))))
    return result & inside.any(axis=1)


def _before_test(kind: npt.NDArray[np.int8]) -> Mask:
    """Rows whose next non-blank row is a test or a heading."""
    after = pd.Series([*kind[1:].tolist(), 0]).replace(RowKind.BLANK, np.nan).bfill()
    return after.isin([RowKind.TEST, RowKind.HEADING]).to_numpy()


def _with_sections(kind: npt.NDArray[np.int8], first: Texts) -> Rows:
    """The rows with the section above each; a line such as "Tested by: …" names no section and stays a note."""
    texts = first.copy()
    sites = False
    for at in np.flatnonzero(kind == RowKind.SECTION):
        name, value = labelled(texts[at])
        if name == "site":
            texts[at], sites = value, True
        elif name:
            kind[at] = RowKind.NOTE
    section = pd.Series(texts, dtype=object).where(kind == RowKind.SECTION)
    return Rows(kind, section.ffill().fillna("").to_numpy(dtype=object), sites)
