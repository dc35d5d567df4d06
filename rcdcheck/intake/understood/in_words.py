"""Cells that hold readings with what they are ("0deg 24ms, 180deg 26ms, button ok"): a column for each of their labels.

So are notes typed on a telephone, mails and scans pasted into a sheet. Nothing is left out: what no label stands before
keeps a column of its own, under the heading that the cell had.
"""

from __future__ import annotations

import functools
import re
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import says
from rcdcheck.intake.opened.cards import folded_cards
from rcdcheck.intake.opened.grids import Coded, Grid, coded
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.lexicon import names, normal
from rcdcheck.intake.understood.reading_headings import parts_of
from rcdcheck.numbering import distinct_codes

HIGHEST = 2_000  # rows of a sheet that is read so
LONGEST = 1_000  # characters of a cell
LEAST = 3  # cells of a column that hold labelled readings
MOSTLY = 0.6  # share of the cells of a column that do
_PARTS = re.compile(r"[;\n]|,(?!\d)|\s{2,}|\s[-–—]+\s|\.\s|(?=\()|(?<=\))")
_LABELLED = re.compile(r"([^\W\d][^:=]{0,40}?|[^:=]*\d[^:=]{0,20}?)\s*[:=]\s*(.*)")
_NUMBER = r"(?:[<>≥≤]?\s*\d+(?:[.,]\d+)?|\?+)\s*(?:ms|msec|s|sec|ma)?"
_VALUE = re.compile(rf"{_NUMBER}(?:\s*/\s*{_NUMBER})?", re.IGNORECASE)  # one, or those of both phases
_BEHIND = re.compile(r"(.+?)\s+(?:at|@|bei|à|a|bij|em|vid|ved|przy|při)\s+(\S.*)")  # "62/53 ms at x1"
_CURRENT = re.compile(r"\d+(?:[.,]\d+)?\s*m?A", re.IGNORECASE)
CHECKED = ("push_button", "visual")  # checks that a note names before what it says of them


@dataclass(frozen=True)
class Said:
    """One clause of a cell: its label as typed, empty for words without one, and what stands behind it."""

    label: str
    value: str
    reading: bool = False

    @property
    def told(self) -> bool:
        """Whether it is a reading or a check with what it is of."""
        return bool(self.value) and (self.reading or _label(self.label) in CHECKED)


def in_columns(grid: Grid) -> Grid | None:
    """The sheet with a column for each label that its cells hold; None where they hold none."""
    if not 1 <= grid.height <= HIGHEST:
        return None
    told = {c: said for c, column in enumerate(grid.columns) if (said := _told(column))}
    if not any(one.reading and one.value for said in told.values() for of_cell in said.values() for one in of_cell):
        return None
    filled = [c for c, column in enumerate(grid.columns) if (column.codes != 0).any()]
    (only, *rest) = told
    if not rest and filled == [only] and _one_label_a_line(told[only]):
        return _as_cards(grid, only, told[only])
    return _widened(grid, told)


@functools.lru_cache(maxsize=20_000)
def clauses(text: str) -> tuple[Said, ...]:
    """The clauses of a cell, in order; of "x1: 0deg 35, 180deg 32" both are of x1."""
    parts = [part.strip(" ,.") for part in _PARTS.split(text)]
    said, over = [], ""
    for part in parts:
        if any(c.isalnum() for c in part):
            one, over = _below(_clause(part), over)
            said.append(one)
    return tuple(said)


def _below(one: Said, over: str) -> tuple[Said, str]:
    """A clause with the multiple said before it, and the multiple that those behind it are of."""
    if not one.reading:
        return one, over
    inner = _clause(one.value) if one.value and not _is_value(one.value) else None
    if inner is not None and inner.reading and inner.value and parts_of(one.label).of("multiple"):
        return Said(f"{one.label} {inner.label}", inner.value, True), one.label
    if parts_of(one.label).of("multiple") or parts_of(one.label).of("quantity") or not over:
        return one, ""
    return Said(f"{over} {one.label}", one.value, True), over


def _clause(part: str) -> Said:
    parted = _LABELLED.fullmatch(part)
    if parted and (kind := _label(parted[1])):
        return Said(parted[1].strip(), parted[2].strip(), kind == "reading")
    if _CURRENT.fullmatch(part) and grammars(part) & Kind.RATED:
        return Said("rated", part)
    behind = _BEHIND.fullmatch(part)
    if behind and _label(behind[2]) == "reading" and _is_value(behind[1]):
        return Said(behind[2], behind[1], True)
    words = part.split()
    for n in range(1, len(words)):
        label, value = " ".join(words[:n]), " ".join(words[n:])
        kind = _label(label)
        if kind == "reading" and _is_value(value):
            return Said(label, value, True)
        if kind in CHECKED or (kind and _CURRENT.fullmatch(value)):
            return Said(label, value)
    return Said(part, "", True) if _label(part) == "reading" else Said("", part)


@functools.lru_cache(maxsize=20_000)
def _label(text: str) -> str:
    """What a label stands for: "reading", the field of a description, or nothing."""
    parts = parts_of(text)
    if not parts.rest and (parts.of("phase") or parts.of("multiple") or parts.of("quantity")):
        return "reading"
    fits = [fit for fit in names(text) if fit.quality >= 0.9 and not fit.rest]
    return fits[0].part.value if fits else ""


def _is_value(text: str) -> bool:
    known = ("no_trip", "over_range", "not_measured", "tripped")
    return bool(_VALUE.fullmatch(text)) or any(says(table, text) for table in known)


def _told(column: Coded) -> dict[int, tuple[Said, ...]]:
    """The clauses of each cell of a column, by code; empty where too few cells hold a labelled reading."""
    texts = {code: as_typed(column.distinct[code]) for code in distinct_codes(column.codes).tolist() if code}
    said = {code: clauses(text) for code, text in texts.items() if " " in text.strip() and len(text) < LONGEST}
    held = [code for code, of_cell in said.items() if any(one.told for one in of_cell)]
    often = np.bincount(column.codes, minlength=len(column.distinct))
    cells, filled = int(often[held].sum()), int((column.codes != 0).sum())
    if cells < LEAST or cells < MOSTLY * filled * (0.5 if len(texts) > 2 * LEAST else 1.0):
        return {}
    usual: Counter[str] = Counter()
    for code, of_cell in said.items():
        usual.update({normal(one.label): int(often[code]) for one in of_cell if one.label})
    whole = {code: said.get(code, (Said("", text),)) for code, text in texts.items()}
    return {code: tuple(_unless_rare(one, usual) for one in of_cell) for code, of_cell in whole.items()}


def _unless_rare(one: Said, usual: Counter[str]) -> Said:
    """A label of a check that few cells hold ("flex is cut") is words of its cell."""
    rare = one.label and not one.reading and 2 * usual[normal(one.label)] < max(usual.values())
    return Said("", f"{one.label} {one.value}") if rare else one


def _one_label_a_line(told: dict[int, tuple[Said, ...]]) -> bool:
    """Whether each line holds labels that others do not, as the lines of a form do."""
    lines = [{normal(one.label) for one in said if one.label} for said in told.values()]
    often = Counter(label for line in lines for label in line)
    return bool(often) and max(often.values()) < 0.6 * len([line for line in lines if line])


# ── forms, one below the other ──
def _as_cards(grid: Grid, column: int, told: dict[int, tuple[Said, ...]]) -> Grid | None:
    own = grid.columns[column]
    lines = [(at, one) for at, code in enumerate(own.codes.tolist()) if code for one in told[code]
             if any(c.isalnum() for c in one.label + one.value)]  # fmt: skip
    cells = np.array([[one.label or one.value, one.value if one.label else ""] for _, one in lines], dtype=object)
    numbers = grid.numbers[[at for at, _ in lines]]
    cards = folded_cards(replace(grid, columns=tuple(coded(cells[:, c]) for c in (0, 1)), numbers=numbers))
    if cards is None or cards.places is None:
        return None
    places = cards.places.copy()
    places[..., 1] = column
    return replace(cards, places=places)


# ── a row for each device ──
def _widened(grid: Grid, told: dict[int, dict[int, tuple[Said, ...]]]) -> Grid:
    held = {c: _held(grid.columns[c], said) for c, said in told.items()}
    first = min(int(np.flatnonzero(rows)[0]) for rows in held.values())
    heads = first > 0 and (np.array([column.codes[first - 1] != 0 for column in grid.columns]).sum() > 1)
    rows = [*range(first), *(() if heads else (-1,)), *range(first, grid.height)]  # -1: a row of labels
    parts = [
        _columns_of(grid, c, told[c], rows, first - heads) if c in told else [_as_it_was(grid, c, rows)]
        for c in range(len(grid.columns))
    ]
    columns = [column for part in parts for column in part]
    source = [c for c, part in enumerate(parts) for _ in part]
    seen = np.array([grid.numbers[at] if at >= 0 else grid.numbers[first] for at in rows])
    places = np.stack(np.broadcast_arrays(seen[:, None], np.array(source)[None, :]), axis=-1).astype(np.int32)
    special = grid.special.copy()
    number = {int(seen[i]): i + 1 for i in range(len(rows)) if rows[i] >= 0}
    special["row"] = [number.get(int(row), 0) for row in special["row"]]
    special["column"] = [source.index(c) if c in source else c for c in special["column"].tolist()]
    numbers = np.arange(1, len(rows) + 1)
    return replace(grid, columns=tuple(columns), numbers=numbers, merged=(), special=special, places=places)


def _held(column: Coded, said: dict[int, tuple[Said, ...]]) -> np.ndarray:
    reads = np.zeros(len(column.distinct), dtype=bool)
    for code, of_cell in said.items():
        reads[code] = any(one.told for one in of_cell)
    return reads[column.codes]


def _as_it_was(grid: Grid, c: int, rows: list[int]) -> Coded:
    own = grid.columns[c]
    return Coded(np.array([own.codes[at] if at >= 0 else 0 for at in rows], dtype=np.int32), own.distinct)


def _columns_of(grid: Grid, c: int, told: dict[int, tuple[Said, ...]], rows: list[int], head: int) -> list[Coded]:
    """The columns of one column: the words before its first label, one for each label, the other words."""
    own = grid.columns[c]
    heading = as_typed(own.distinct[own.codes[head]]).strip() if rows[head] >= 0 else ""
    over = f"{heading} " if heading and _label(heading) == "reading" else ""
    labels = list(dict.fromkeys(normal(one.label) for said in told.values() for one in said if one.label))
    spelled = {normal(one.label): one.label for said in told.values() for one in reversed(said) if one.label}
    cells = np.full((len(rows), len(labels) + 2), "", dtype=object)
    for i, at in enumerate(rows):
        if i == head:
            cells[i, 1:-1] = [over + spelled[label] for label in labels]
            cells[i, -1] = "" if over else heading
            continue
        said = told.get(int(own.codes[at]), ()) if at >= 0 else ()
        if i < head:
            cells[i, 0] = own.distinct[own.codes[at]]
            continue
        for n, one in enumerate(said):
            k = 1 + labels.index(normal(one.label)) if one.label else 0 if n == 0 and len(said) > 1 else -1
            cells[i, k] = "; ".join(filter(None, (cells[i, k], one.value)))
    used = [k for k in range(cells.shape[1]) if k == 0 or (cells[head + 1 :, k] != "").any()]
    empty_first = not (cells[:, 0] != "").any()
    return [coded(np.ascontiguousarray(cells[:, k])) for k in used if not (k == 0 and empty_first)]
