"""Where the tables of tests are in a sheet: the row, or pair of rows, that explains the columns below it.

Title lines, address blocks, totals and signatures stand around a table; a sheet may hold several, one below the other,
and may repeat its headings on each printed page. Positions count the rows of `Grid.cells` from 0; addresses
shown to a person come from its index.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from rcdcheck.intake.heading_words import phrases
from rcdcheck.intake.headings import Meaning, meanings, normal, settle
from rcdcheck.intake.labels import facts_of_row
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.records import Mask, as_typed

IDENTITY = ("device", "board", "circuit", "serial")
DESCRIPTIONS = (*IDENTITY, "outlet", "site", "location", "model", "tested_at", "technician")
RESULTS = ("reading", "value", "pair", "declared", "visual", "push_button")
FACT_CELLS = 4  # a line of facts above a table ("Tested by: …") fills no more cells
SEARCHED = 200  # rows from the top in which the first heading is looked for
STACKED = 20_000  # rows up to which a second, different heading is looked for further down
SAMPLED = 200  # distinct cells that may settle what a heading means


@dataclass(frozen=True)
class Column:
    """One column of a table and how its heading was understood; `confirmed` where a person stated it."""

    number: int
    row: int
    heading: str
    meaning: Meaning
    confirmed: bool = False


@dataclass(frozen=True)
class Table:
    """A table in a grid: the positions of its heading rows, its columns, and the positions [start, stop) below."""

    heading_rows: tuple[int, ...]
    columns: tuple[Column, ...]
    start: int
    stop: int

    def of(self, *fields: str) -> list[Column]:
        """Columns whose meaning is one of `fields`, from left to right."""
        return [c for c in self.columns if c.meaning.field in fields]

    @property
    def readings(self) -> list[Column]:
        """Columns that hold readings."""
        return self.of("reading", "value", "pair")


def filled(grid: Grid) -> Mask:
    """Which cells are not blank, shape (rows, columns); error cells and formulas without a value are not."""
    cells = grid.cells
    if not cells.shape[1]:
        return np.zeros((len(cells), 0), dtype=bool)
    full = np.column_stack([cells[c].to_numpy() != "" for c in cells.columns])
    hidden = grid.special[grid.special["kind"].isin(["error", "formula_without_value"])]
    at = cells.index.get_indexer(hidden["row"])
    inside = (at >= 0) & hidden["column"].between(0, full.shape[1] - 1).to_numpy()
    full[at[inside], hidden["column"].to_numpy()[inside]] = True
    return full


def find_tables(grid: Grid, full: Mask, stated: Mapping[str, Meaning]) -> list[Table]:
    """Tables of tests in a grid, from top to bottom; `stated` gives meanings by normalised heading."""
    rows = np.flatnonzero(full.any(axis=1))
    finder = _Finder(grid, full, stated)
    first = finder.first(rows[:SEARCHED])
    if first is None:
        return []
    found = [first]
    if len(rows) <= STACKED:
        for at in _heading_like(grid, rows[rows > first[0][-1]], stated):
            if at <= found[-1][0][-1]:
                continue
            later = finder.at(int(at), rows)
            if later is not None and not _repeats(later[1], found[-1][1]):
                found.append(later)
    stops = [heading[0] for heading, _ in found[1:]] + [len(grid.cells)]
    return [
        finder.settled(Table(heading, side, heading[-1] + 1, stop))
        for (heading, columns), stop in zip(found, stops, strict=True)
        for side in _side_by_side(columns)
    ]


def _side_by_side(columns: tuple[Column, ...]) -> list[tuple[Column, ...]]:
    """Tables that stand beside each other in the same rows: the heading of the device, and what follows it, again."""
    devices = [i for i, c in enumerate(columns) if c.meaning.field == "device" and not c.meaning.candidates]
    alike = len({normal(columns[i].heading) for i in devices}) == 1
    parts = [columns[a:b] for a, b in zip(devices, [*devices[1:], len(columns)], strict=True)] if alike else []
    if len(parts) < 2 or devices[0] != 0 or not all(_valid(part) for part in parts):
        return [columns]
    return parts


def missing_parts(grid: Grid, full: Mask, stated: Mapping[str, Meaning]) -> str:
    """One clause on what kept a sheet from being a table of tests: the headings understood, and what is missing."""
    rows = np.flatnonzero(full.any(axis=1))
    if not len(rows):
        return "it is empty"
    finder = _Finder(grid, full, stated)
    best = max((finder.columns([int(r)]) for r in rows[:SEARCHED]), key=_score)
    known = [c for c in best if c.meaning.field not in ("", "ignore", "other_test")]
    wanted = [
        word
        for word, fields in (
            ("a column that names the device", IDENTITY),
            ("a column of readings or results", RESULTS),
        )
        if not any(c.meaning.field in fields for c in known)
    ]
    if not known:
        return "no heading of a test sheet was found (a device column and a reading or result column are needed)"
    names = ", ".join(f"“{c.heading}”" for c in known[:6])
    return f"understood {names}; missing: {' and '.join(wanted) or 'rows below the headings'}"


class _Finder:
    def __init__(self, grid: Grid, full: Mask, stated: Mapping[str, Meaning]) -> None:
        self.grid, self.full, self.stated = grid, full, stated
        self.across = {
            (first, column): range(column, last + 1)
            for first, column, end, last in grid.merged
            if last > column and end == first
        }

    def first(self, rows: Sequence[int] | np.ndarray) -> tuple[tuple[int, ...], tuple[Column, ...]] | None:
        for at in rows:
            found = self.at(int(at), rows)
            if found is not None:
                return found
        return None

    def at(self, at: int, rows: Sequence[int] | np.ndarray) -> tuple[tuple[int, ...], tuple[Column, ...]] | None:
        """The heading that begins at or just below position `at`, one row or two, whichever explains more."""
        below = [int(r) for r in np.asarray(rows)[np.asarray(rows) > at][:2]]
        paired = bool(below) and below[0] == at + 1 and not self._is_title(at, below[0])
        chains = [(at,)] + ([(at, below[0])] if paired else [])
        tried = [(chain, self.columns(chain)) for chain in chains if not self._holds_data(chain)]
        valid = [(chain, columns) for chain, columns in tried if _valid(columns)]
        if not valid:
            return None
        return max(valid, key=lambda pair: (_score(pair[1]), -len(pair[0]) if not self._units(pair[0][-1]) else 0))

    def _units(self, at: int) -> bool:
        """Whether a row holds units and nothing else: it belongs to the headings above it."""
        words = [normal(as_typed(c)).strip("()[] ") for c in self.grid.cells.iloc[at] if c != ""]
        return bool(words) and all({p.kind for p in phrases().get((w,), ())} == {"unit"} for w in words)

    def _holds_data(self, chain: Sequence[int]) -> bool:
        """Whether a row holds dates, or numbers other than phases, multiples and test currents: no heading does."""
        cells = [c for at in chain for c in self.grid.cells.iloc[at] if c != ""]
        return any(
            not isinstance(c, str | float)
            or (_NUMBER.fullmatch(as_typed(c).strip()) and as_typed(c).strip().replace(",", ".") not in HEADING_NUMBERS)
            for c in cells
        )

    def _is_title(self, at: int, below: int) -> bool:
        """Whether a row is a title line, though it stands directly over the headings: no group covers descriptions."""
        filled = np.flatnonzero(self.full[at])
        if len(filled) <= FACT_CELLS and facts_of_row(self.grid, at):
            return True
        under = as_typed(self.grid.cells.iat[below, filled[0]])
        return len(filled) == 1 and under != "" and meanings([under], [""])[0].field in DESCRIPTIONS

    def columns(self, chain: Sequence[int]) -> tuple[Column, ...]:
        lower, upper = chain[-1], chain[0] if len(chain) > 1 else None
        groups = self._groups(upper, lower) if upper is not None else {}
        numbers, headings, over, at = [], [], [], []
        for c in self.grid.cells.columns:
            own = as_typed(self.grid.cells.iat[lower, c])
            alone = as_typed(self.grid.cells.iat[upper, c]) if upper is not None else ""
            if not own and not alone:
                continue
            numbers.append(int(c))
            headings.append(own or alone)
            over.append(groups.get(c, "") if own else "")
            at.append(lower if own or upper is None else upper)
        understood = meanings(headings, over)
        index = self.grid.cells.index
        out = []
        for c, heading, group, row, meaning in zip(numbers, headings, over, at, understood, strict=True):
            shown = f"{group} {heading}".strip()
            own_word = next((self.stated[k] for k in (normal(shown), normal(heading)) if k in self.stated), None)
            out.append(Column(c, int(index[row]), shown, own_word or meaning, own_word is not None))
        return tuple(out)

    def _groups(self, upper: int, lower: int) -> dict[int, str]:
        """The group heading over each column, spread over the columns it covers, merged or not."""
        groups: dict[int, str] = {}
        current = ""
        row = int(self.grid.cells.index[upper])
        until = -1
        for c in self.grid.cells.columns:
            text = as_typed(self.grid.cells.iat[upper, c])
            if text:
                current = text
                until = max(self.across.get((row, int(c)), range(0, 0)), default=-1)
            if until >= 0 and c > until:
                current = ""
            if self.full[lower, c]:
                groups[int(c)] = current
            elif not text:
                current = ""
        return groups

    def settled(self, table: Table) -> Table:
        """The table with every heading that could mean two things settled by the cells below it."""
        sure = {c.meaning.field for c in table.columns if not c.meaning.candidates or c.confirmed}
        columns = tuple(
            Column(c.number, c.row, c.heading, settle(c.meaning, self._sample(table, c.number), sure), c.confirmed)
            if c.meaning.candidates and not c.confirmed
            else c
            for c in table.columns
        )
        return Table(table.heading_rows, columns, table.start, table.stop)

    def _sample(self, table: Table, column: int) -> list[str]:
        cells = self.grid.cells[column].iloc[table.start : min(table.stop, table.start + 5000)]
        distinct = pd.unique(cells[cells != ""])[:SAMPLED]
        return [as_typed(c) for c in distinct]


def _valid(columns: Sequence[Column]) -> bool:
    """A heading names the devices and a reading or result, and most of its cells are understood."""
    fields = {c.meaning.field for c in columns}
    return any(f in fields for f in IDENTITY) and any(f in fields for f in RESULTS) and _score(columns) > 0


def _score(columns: Sequence[Column]) -> int:
    return sum(1 if c.meaning.field else -1 for c in columns)


def _repeats(columns: Sequence[Column], earlier: Sequence[Column]) -> bool:
    return [(c.number, normal(c.heading)) for c in columns] == [(c.number, normal(c.heading)) for c in earlier]


HEADING_NUMBERS = ("0", "180", "0.5", "1", "2", "5")
_NUMBER = re.compile(r"[<>~≥≤]?\s*\d+([.,]\d+)*")
_DIGIT = re.compile(r"\d")


def _heading_like(grid: Grid, rows: np.ndarray, stated: Mapping[str, Meaning]) -> np.ndarray:
    """Positions among `rows` where at least two cells are short words that headings use, one of them for a device.

    A row of data has such words too ("pass", "pass"), but its device is named by a number.
    """
    votes, named = np.zeros(len(rows), dtype=int), np.zeros(len(rows), dtype=bool)
    for c in grid.cells.columns:
        codes, distinct = pd.factorize(grid.cells[c].to_numpy()[rows])
        plain = [isinstance(t, str) and 0 < len(t) <= 60 and not _DIGIT.search(t) for t in distinct]
        words = [t for t, ok in zip(distinct, plain, strict=True) if ok][:500]
        fields = {t: (stated.get(normal(t)) or meanings([t], [""])[0]).field for t in words}
        of = [fields.get(t, "") if ok else "" for t, ok in zip(distinct, plain, strict=True)]
        votes += np.array([f not in ("", "ignore") for f in of], dtype=bool)[codes]
        named |= np.array([f in IDENTITY for f in of], dtype=bool)[codes]
    return rows[(votes >= 2) & named]
