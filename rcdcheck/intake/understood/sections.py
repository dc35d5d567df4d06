"""Lines between the rows of a table: names of places and boards, days, and lines under which tests are repeated."""

from __future__ import annotations

import re

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.classes import class_cell, pieces_of
from rcdcheck.intake.cells.date_cells import date_cell
from rcdcheck.intake.cells.phrases import folded, opens_with, pattern, says
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.facts import facts_of_row, labelled
from rcdcheck.intake.understood.first_cells import Leftmost
from rcdcheck.intake.understood.grammars import CHECK, READING, Kind, grammars
from rcdcheck.intake.understood.lexicon import names
from rcdcheck.intake.understood.parts_of_test import part_of_test
from rcdcheck.intake.understood.ratings import rating_in
from rcdcheck.intake.understood.row_kinds import RowKind, Rows
from rcdcheck.intake.understood.table import Table
from rcdcheck.intake.understood.titles import day_of_visit
from rcdcheck.tables import Mask, Texts


def over_headings(grid: Grid, span: slice, kind: npt.NDArray[np.int8], count: npt.NDArray[np.int64]) -> Mask:
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


def name_over(grid: Grid, full: Mask, table: Table, kind: npt.NDArray[np.int8]) -> str:
    """What stands directly over the headings where such a line stands over them each time they are said again."""
    top = table.heading_rows[0] - 1
    again = kind[:-1][(kind[1:] == RowKind.HEADING) & (kind[:-1] != RowKind.HEADING)]
    if top < 0 or not len(again) or (again != RowKind.SECTION).any() or not 1 <= full[top].sum() <= 2:
        return ""
    line = as_typed(next(cell for cell in grid.row(top) if cell != "")).strip()
    if not rating_in(line) and any(fact.field in ("board", "site") for fact in facts_of_row(grid, top)):
        return ""  # stated above the table
    return line


def opens_repeats(text: str) -> bool:
    """Whether a text is such as RE-TESTS or "Repeats:", under which tests of devices above stand again."""
    word = re.sub(r"\(?\b\d{1,4}[./-]\d{1,2}(?:[./-]\d{2,4})?\)?", "", text)  # the day of the repeats
    word = re.sub(r"^[\s\-=*–—]+|[\s:\-=*–—]+$", "", word)
    named = says("repeat", word) or says("repeat", word.rstrip("sS"))
    opened = opens_with("repeat", word.casefold().replace("tests", "test"))
    return named or (opened and len(word.split()) <= 8 and not re.search(r"\d", word))


def before_test(kind: npt.NDArray[np.int8]) -> Mask:
    """Rows whose next row that is neither blank nor a note is a test or a heading."""
    n = len(kind)
    speaks = np.where(np.isin(kind, (RowKind.BLANK, RowKind.NOTE)), n, np.arange(n))
    after = np.append(np.minimum.accumulate(speaks[::-1])[::-1][1:], n)
    return np.isin(np.append(kind, np.int8(RowKind.BLANK))[after], (RowKind.TEST, RowKind.HEADING))


def with_sections(
    grid: Grid, table: Table, kind: npt.NDArray[np.int8], first: Leftmost, continued: dict[int, int], over: str
) -> Rows:
    """The rows with the section above each; a line such as "Tested by: …" names no section and stays a note.

    One that only states a rating ("100 mA, type S") leaves the name of the section above it.
    """
    texts: dict[int, str] = {}
    rated: dict[int, str] = {}
    fields = set()
    for at in np.flatnonzero(kind == RowKind.SECTION):
        line = first.text(int(at))
        text, rated[int(at)] = rating_apart(line)
        if not text:
            continue
        name, value = labelled(text)
        beside = [fact for fact in facts_of_row(grid, table.start + int(at)) if fact.field in ("board", "site")]
        if not name and beside:
            name, value = beside[0].field, as_typed(beside[0].value)
        day = text if date_cell(text).readable else day_of_visit(text)
        if day:
            texts[int(at)] = day
            fields.add("tested_at")
        elif name in ("site", "board"):
            texts[int(at)] = value
            fields.add(name)
        elif part_of_test(text)[0]:
            texts[int(at)] = text
            fields.add(part_of_test(text)[0])
        elif name or is_check_word(text):
            kind[at] = RowKind.NOTE
            del rated[int(at)]
        else:
            texts[int(at)] = text
            fields.add("board" if names_board(text) else "")
    named = fields.pop() if len(fields) == 1 else ""
    first_name, first_rated = rating_apart(over)
    section = _below(len(kind), "" if labelled(first_name)[0] else first_name, texts)
    return Rows(kind, section, _below(len(kind), first_rated, rated), named, _under(kind), continued)


def _below(height: int, first: str, lines: dict[int, str]) -> Texts:
    """The text of the last line above each row, `first` above all of them; shape (height,)."""
    begins = np.zeros(height, dtype=np.int64)
    begins[list(lines)] = 1
    texts: Texts = np.array([first, *lines.values()], dtype=object)[np.cumsum(begins)]
    return texts


def rating_apart(line: str) -> tuple[str, str]:
    """The name in a section line, and the line where it states a rating: "DB2 - 100 mA, type S" is of DB2."""
    if not rating_in(line):
        return line, ""
    kept = [piece for piece in pieces_of(line) if not _only_rated(piece)]
    return kept[0] if kept and names_board(kept[0]) else " – ".join(kept), line


def _only_rated(piece: str) -> bool:
    """Whether a piece of a section line says a rating or a class and names nothing: "all 30 mA", "DDR 300 mA sélectif",
    "type S"."""
    rest = " ".join(_RATING.sub(" ", piece).split())
    if rest != piece:
        rest = " ".join(pattern("of_all").sub(" ", folded(rest)).split())
    if rest == piece and len(rest) < 3:  # "A", "S": rather a board's letter
        return False
    if not rest or not class_cell(rest)[3]:
        return True
    classed = r"\b(?:type|typ|tipo)\s+(\S+)"  # "RCDs type A": the letter is read by itself
    words = " ".join(w.removesuffix("s") for w in re.sub(classed, r"\1", rest).split() if class_cell(w)[3])
    return any(f.part.value in RATED and f.quality >= 0.9 and not f.rest for f in names(words))


RATED = ("device", "rated_residual_current")  # words that go with a rating: "RCDs 30 mA", "IΔn = 30 mA", "sensitivity"
_RATING = re.compile(r"\d+(?:[.,]\d+)?\s?m?A\b")


def is_check_word(text: str) -> bool:
    """Whether a text is what a row of tests holds, and no name: a verdict, a reading, a fault, "no access"."""
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
    if not (kind == RowKind.RETESTS).any():
        return np.zeros(len(kind), dtype=bool)
    opened = pd.Series(np.where(kind == RowKind.RETESTS, 1.0, np.nan))
    opened[np.isin(kind, (RowKind.SECTION, RowKind.HEADING)) & ~_directly_under(kind)] = 0.0
    result: Mask = opened.ffill().fillna(0.0).to_numpy() > 0
    return result
