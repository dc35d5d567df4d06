"""Rows that could head a table or stand over one: words, and the few numbers that headings use."""

from __future__ import annotations

import functools
import re

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import known as known_words
from rcdcheck.intake.cells.phrases import plain
from rcdcheck.intake.cells.rounds import names_round, names_year, without_round
from rcdcheck.intake.cells.whole_columns import phased_pair
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.colours import explains_colour
from rcdcheck.intake.understood.grammars import CHECK, Kind, grammars
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.lexicon import names, normal
from rcdcheck.intake.understood.reading_headings import parts_of, readings_of
from rcdcheck.numbering import used_codes
from rcdcheck.tables import Mask

SEARCHED = 300  # rows from the top in which the first heading is looked for
LABELS = 3  # of a table that lies on its side
RUNS = 60  # runs of rows of words that are looked at further down


def wordy_rows(grid: Grid, full: Mask) -> Mask:
    """Rows in which every filled cell could stand in a heading, and at least one does, shape (rows,)."""
    ok: Mask = np.array(full.any(axis=1))
    for i in sorted(
        range(len(grid.columns)), key=lambda i: len(grid.columns[i].distinct)
    ):  # few texts settle most rows
        column, at = grid.columns[i], np.flatnonzero(ok)
        codes = column.codes[at]
        used, back = used_codes(codes)
        fits = np.array([could_head(column.distinct[c]) for c in used], dtype=bool)
        ok[at] = fits[back] & (full[at, i] <= (codes != 0))
    at = np.flatnonzero(ok)
    ok[at] = ~_colours_told(grid, full, at)
    return ok


def _colours_told(grid: Grid, full: Mask, at: npt.NDArray[np.int64]) -> Mask:
    """Which of these rows are lines of a legend of colours ("blue row = locked"); beside the headings of a table such
    lines may stand too."""
    told = np.zeros(len(at), dtype=np.int64)
    for column in grid.columns:
        used, back = used_codes(column.codes[at])
        told += np.array([_tells_colour(column.distinct[c]) for c in used], dtype=bool)[back]
    return np.asarray((told > 0) & (2 * told >= full[at].sum(axis=1)))


def _tells_colour(cell: object) -> bool:
    return isinstance(cell, str) and "=" in cell and explains_colour(cell)


@functools.lru_cache(maxsize=200_000)
def could_head(cell: object) -> bool:
    """Whether a cell could be (part of) a heading or a title: words, or the few numbers that headings use."""
    if names_year(as_typed(cell)):
        return True
    if isinstance(cell, float):
        return cell in (0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 180.0)
    if not isinstance(cell, str):
        return False
    if cell == "" or len(cell) > 200:
        return cell == ""
    if not re.search(r"[^\W_]|[+°#±↑↓?✓✔✗✘]", cell) and cell.strip() not in ("-", "−", "–"):  # a drawn line
        return False
    if _of_a_visit(cell):
        return True
    if phased_pair(cell):
        return False
    kind = grammars(cell)
    worded = kind & Kind.DATE and any(word in known_words("months") for word in plain(cell).split())
    if kind & (Kind.DATE | Kind.CLOCK | Kind.BOUND) and not worded:  # "9 January" may stand over the columns of a visit
        return bool(kind & Kind.LONG)  # a title with its date
    if not kind & Kind.MILLISECONDS and any(r.weight >= 2.5 for r in readings_of(cell)):  # "0 Grad", "100% IΔn", "5/0"
        return True
    numbers = kind & Kind.PAIR and not kind & Kind.LONG and any(c.isdigit() for c in cell)
    if numbers and normal(cell) not in ("0/180", "180/0"):
        return False
    if kind & Kind.NUMBER:
        number = re.sub(r"\s*(ms|s|°|deg\.?)$", "", normal(cell))
        return number in ("0", "0.5", "1", "2", "3", "5", "10", "180") or bool(kind & Kind.CURRENT)
    if any(word in known_words("months") for word in plain(cell).split()):  # "SPRING (Oct 22)"
        return True
    enough = 0.6 if kind & Kind.RATED else 0.8  # "RCD 30mA" over the names of devices
    known = any(f.quality >= enough for f in names(cell)) or any(r.weight >= 1.0 for r in readings_of(cell))
    return known or not (kind & Kind.CODE and re.search(r"\d\d|-\s?\d", cell) and not kind & Kind.LONG)


def _of_a_visit(text: str) -> bool:
    """Whether a text heads a reading of a first or second visit ("1st 0", "2nd 180"), or a visit with its day
    ("Visit 1 – 12/02/2025")."""
    number, rest = without_round(text)
    dated = _DAY.sub("", text).strip(" -–—,:()")
    return (bool(number) and bool(readings_of(rest))) or (dated != text and names_round(normal(dated)))


_DAY = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}")


def runs_of(full: Mask, wordy: Mask) -> list[list[int]]:
    """Rows of words that follow one another, at most RUNS of them after the first rows of the sheet."""
    at = np.flatnonzero(wordy)
    runs: list[list[int]] = []
    for i in at.tolist():
        if runs and i == runs[-1][-1] + 1:
            runs[-1].append(i)
        else:
            runs.append([i])
    rows = np.flatnonzero(full.any(axis=1))
    near = int(rows[min(SEARCHED, len(rows) - 1)])
    wide = [r for r in runs if any(full[i].sum() >= 2 for i in r)]
    return [r for r in wide if r[0] <= near] + [r for r in wide if r[0] > near][:RUNS]


@functools.lru_cache(maxsize=50_000)
def is_datum(text: str) -> bool:
    """Whether a text is as likely a cell of a test: a check, "no trip", or an identifier such as R5."""
    kind = grammars(text)
    if _of_a_visit(text):
        return False
    parts = parts_of(text)
    phase = bool(parts.of("phase")) or "180" in parts.bare
    if phase + bool(parts.of("multiple")) + bool(parts.of("unit")) > 1 and not parts.rest:  # "0° ms", "x1 180"
        return False
    if kind & (CHECK | Kind.NO_TRIP | Kind.UNMEASURED):
        return True
    said = any(f.quality >= 0.8 for f in names(text)) or any(r.weight >= 4.0 for r in readings_of(text))  # "half/0"
    return bool(kind & Kind.CODE) and not said


def reads_down(grid: Grid, full: Mask) -> bool:
    """Whether the leftmost filled column holds headings, as in a table that lies on its side."""
    across = [c for c in range(full.shape[1]) if full[:, c].sum() >= LABELS]  # left of it a title may stand
    if len(across) < 2:
        return False
    first = grid.columns[across[0]]
    cells = [as_typed(first.distinct[c]) for c in first.codes[:60] if c]
    known = [c for c in cells if (f := from_heading(c)) and f[0].heading >= 3.0]
    return len(known) >= LABELS and 2 * len(known) >= len(cells)
