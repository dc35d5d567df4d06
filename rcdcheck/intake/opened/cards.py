"""A sheet of cards, one below the other or side by side, folded into a table: a row for each card.

A card is a block of labels with their values beside them ("RCD | Nave", "Rating | 30 mA", "0 deg | 24"), and the labels
come again with each. "Borne : B-01" in one cell is a label and its value too. Nothing of a sheet is left out: what
stands in a card without a label, or beside its value, becomes a cell of a column without heading.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.opened.grids import Grid, coded
from rcdcheck.tables import Texts

HIGHEST = 20_000  # rows of a sheet of cards
LEAST, MOST = 3, 60  # labels of a card, and half of all cards have them: a name that comes again is no label
TALLEST = 400  # rows of a sheet of blocks on their side
_LABELLED = re.compile(r"\s*([^\W\d][^:=]{0,40}?)\s*[:=]\s*(\S.*)")


@dataclass
class _Line:
    """One row of one card: its label, the cell that holds the value, and its place in the sheet."""

    label: str
    value: object
    at: int
    column: int
    beside: list[tuple[object, int]] = field(default_factory=list)  # further cells to the right and their columns


@dataclass
class _Card:
    lines: list[_Line]


def folded_cards(grid: Grid) -> Grid | None:
    """The sheet as a table with a row for each card; None where it is no sheet of cards."""
    if not 2 <= grid.height <= HIGHEST or not grid.columns:
        return None
    full = grid.filled
    across = np.flatnonzero(full.any(axis=0))
    if len(across) < 1:
        return None
    key = _key(grid, int(across[0]))
    if not key:
        return None
    starts = [c for c in range(len(grid.columns)) if _count(grid, c, key)]
    top = min(
        at for c in starts for at, cell in enumerate(grid.columns[c].cells()) if cell != "" and _label(cell)[0] == key
    )
    cards = _in_columns(grid, starts[0], key) if len(starts) == 1 else []
    cards = cards or [
        card
        for n, c in enumerate(starts)
        for card in _cards(grid, c, (starts[n + 1] if n + 1 < len(starts) else len(grid.columns)), key, top)
    ]
    labels = _labels(cards)
    if len(cards) < 2 or not LEAST <= len(labels) <= MOST:
        return None
    cards.sort(key=lambda card: (card.lines[0].at, card.lines[0].column))
    return _table(grid, cards, labels)


def _label(cell: object) -> tuple[str, str]:
    """The label in a cell, as it is compared, and what stands behind its colon."""
    text = as_typed(cell).strip()
    parted = _LABELLED.fullmatch(text)
    name, value = (parted[1], parted[2]) if parted else (text.rstrip(" :="), "")
    return " ".join(name.casefold().split()), value


def _key(grid: Grid, column: int) -> str:
    """The label that opens each card: of those that come again most often, the first."""
    seen = [_label(c)[0] for c in grid.columns[column].cells() if c != ""]
    often = Counter(seen)
    most = max((n for label, n in often.items() if label), default=0)
    if most < 2:
        return ""
    return next((label for label in seen if often[label] >= max(2, 0.9 * most)), "")


def _count(grid: Grid, column: int, key: str) -> bool:
    return any(c != "" and _label(c)[0] == key for c in grid.columns[column].distinct)


def _openings(grid: Grid, column: int, key: str) -> set[int]:
    """Rows that open cards by a name that no label stands for ("RCD 1 | Main board | 30 mA"): over each key, below a
    blank row or the top."""
    own = grid.columns[column]
    names = ["" if own.distinct[code] == "" else _label(own.distinct[code])[0] for code in own.codes]
    keys = [at for at, name in enumerate(names) if name == key]
    filled = grid.filled.sum(axis=1)
    over = [at - 1 for at in keys if at and (at == 1 or not filled[at - 2])]
    often = Counter(names)
    opened = {at for at in over if names[at] and often[names[at]] == 1}
    return opened if len(opened) == len(keys) else set()


_NAME = "\0"  # begins the label of a cell that has none


def _cards(grid: Grid, column: int, until: int, key: str, top: int) -> list[_Card]:
    """The cards whose labels stand in one column; `until`: the first column beyond them. `top`: the row of the first
    key of all columns: what stands from there to the column's own first key is a card that has lost its key.

    Where phases head the columns of a card's values, "1x" beside two of them is a line for each.
    """
    cards: list[_Card] = []
    heads: dict[int, str] = {}
    opened, often = _openings(grid, column, key), _label_columns(grid, _often(grid))
    paired = _paired(grid, column, until)
    for at in range(grid.height):
        cells = [(grid.cell(at, c), c) for c in range(column, until)]
        filled = [(cell, c) for cell, c in cells if cell != ""]
        if not filled:
            continue
        label, behind = _label(filled[0][0]) if filled[0][1] == column else ("", "")
        if not cards and at >= top and at not in opened and label != key:
            typed = " ".join(as_typed(cell) for cell, _ in filled)  # over the key, or instead of it
            cards.append(_Card([_Line(key, typed, at, filled[0][1])]))
            continue
        if at in opened or (label == key and not opened):
            cards.append(_Card([]))
            heads = {}
        if at in opened:
            cards[-1].lines = [_Line(f"{_NAME}{n}", cell, at, c) for n, (cell, c) in enumerate(filled)]
        elif cards and len(values := filled[bool(label) :]) > 1 and all(_is_phase(cell) for cell, _ in values):
            heads = {c: as_typed(cell).strip() for cell, c in values}
        elif cards and label in paired and heads and all(c in heads for _, c in filled[1:]):
            cards[-1].lines += [_Line(f"{label} {head}", grid.cell(at, c), at, c) for c, head in heads.items()]
        elif cards and label in paired and not heads and len(filled) <= 3 and (both := _BOTH.search(label)):
            beside = [c for _, c in filled[1:]] or [column + 1, column + 2]
            cards[-1].lines += [
                _Line(_BOTH.sub(f"{phase}°", label), grid.cell(at, c), at, c)
                for phase, c in zip(both.groups(), beside, strict=False)
            ]
        elif cards:
            cards[-1].lines += _beside_each_other(often, filled, label, behind, at, column)
    return cards


def _paired(grid: Grid, column: int, until: int) -> set[str]:
    """Labels beside which two values stand somewhere: where one or both are blank, they lack and nothing moves up."""
    filled = grid.filled[:, column:until]
    at = np.flatnonzero(filled[:, 0] & (filled.sum(axis=1) == 3))
    return {_label(grid.cell(int(row), column))[0] for row in at}


_BOTH = re.compile(
    r"\b(0|180)\s?(?:°|deg\w*)?\s?(?:/|&|,|and|und|et|y|e|en|\|)\s?(0|180)\b\s?(?:°|deg\w*)?"
)  # "1x 0 / 180 (ms)"


def _is_phase(cell: object) -> bool:
    return bool(_PHASE.fullmatch(as_typed(cell).strip()))


_PHASE = re.compile(r"0\s?(?:°|deg\w*)?|180\s?(?:°|deg\w*)?|[+-]|pos\w*|neg\w*", re.IGNORECASE)  # over two columns


def _often(grid: Grid) -> list[set[str]]:
    """Texts that stand in each column more than once and may be labels: what holds a number is a value ("30 mA") unless
    a colon ends it or it is mostly letters ("1x IΔn 180 deg")."""
    again = [(own, np.flatnonzero(np.bincount(own.codes, minlength=len(own.distinct)) > 1)) for own in grid.columns]
    texts = [[as_typed(own.distinct[code]) for code in codes] for own, codes in again]
    return [{text for text in column if text and _may_label(text)} for column in texts]


def _may_label(text: str) -> bool:
    letters, digits = sum(c.isalpha() for c in text), sum(c.isdigit() for c in text)
    named = _OF_READING.search(text) and letters
    return not digits or text.rstrip().endswith(":") or letters > max(3, digits) or bool(named)


_OF_READING = re.compile(r"°|\bdeg|\d\s?[x×]|[x×]\s?\d|I\s?[Δ∆]\s?n", re.IGNORECASE)  # "1x 180° ms"


def _label_columns(grid: Grid, often: list[set[str]]) -> list[set[str]]:
    """Of the texts that come again those of columns in which labels stand: before each second cell of full lines."""
    labels, values = set[int](), set[int]()
    for at in range(grid.height):
        filled = [(as_typed(cell), c) for c, cell in enumerate(grid.row(at)) if cell != ""]
        if len(filled) >= 4 and len(filled) % 2 == 0 and all(text in often[c] for text, c in filled[2::2]):
            labels |= {c for _, c in filled[::2]}
            values |= {c for _, c in filled[1::2]}
    return [texts if c in labels - values else set() for c, texts in enumerate(often)]


def _beside_each_other(
    often: list[set[str]], filled: list[tuple[object, int]], label: str, behind: str, at: int, column: int
) -> list[_Line]:
    """The lines of a row: one, or several where further labels that come again in their columns stand beside it; a
    label with no value before the next has none."""
    begins = [0, *(i for i, (cell, c) in enumerate(filled) if i and as_typed(cell) in often[c])]
    parts = [filled[i:j] for i, j in zip(begins, [*begins[1:], len(filled)], strict=True)]
    if not label or behind or len(parts) == 1 or max(map(len, parts)) > 2:
        return [_line(filled, label, behind, at, column)]
    named = ((_label(part[0][0])[0], part) for part in parts[1:])
    return [
        _line(parts[0], label, behind, at, column) if len(parts[0]) == 2 else _Line(label, "", at, column + 1),
        *(_Line(name, part[1][0], at, part[1][1]) if len(part) == 2 else _Line(name, "", at, part[0][1] + 1)
          for name, part in named),
    ]  # fmt: skip


def _in_columns(grid: Grid, column: int, key: str) -> list[_Card]:
    """The cards of blocks that lie on their side, one block below the other: labels in one column, and to its right a
    column for each card. Empty where most rows hold no more than a label and its value.

    What stands between two blocks belongs to all cards of the next; what stands beside a block, to its last card.
    """
    many = grid.filled.sum(axis=1)
    if grid.height > TALLEST or 2 * (many > 3).sum() <= (many > 0).sum() or _labelled_twice(grid, column):
        return []
    filled = [[(cell, c) for c, cell in enumerate(grid.row(at)) if cell != ""] for at in range(grid.height)]
    cards: list[_Card] = []
    block: dict[int, _Card] = {}
    over: list[_Line] = []
    opened = _openings(grid, column, key)
    for at, cells in enumerate(filled):
        label = _label(cells[0][0])[0] if cells and cells[0][1] == column else ""
        if at in opened or (label == key and not opened):
            block = {c: _Card(list(over)) for _, c in cells[1:]}
            cards += block.values()
            over = []
        elif not cells:
            block = {}
        if not block:
            over += [_Line("", "", at, c, [(cell, c)]) for cell, c in cells if cards or label == key]
            continue
        for c, card in block.items():
            card.lines.append(_Line(f"{_NAME}0" if at in opened else label, grid.cell(at, c), at, c))
            if at in opened:
                card.lines.append(_Line("", "", at, column, [(cells[0][0], column)]))
        beside = [(cell, c) for cell, c in cells if c not in block and (c != column or not label)]
        if beside:
            next(reversed(block.values())).lines[-1].beside.extend(beside)
    return _with_corners(cards) if len(cards) > 1 and opened else cards if len(cards) > 1 else []


def _labelled_twice(grid: Grid, column: int) -> bool:
    """Whether further labels come again to the right of the first ones ("Box:" | "Bar 1" | "Rated:" | "30 mA")."""
    ends = (as_typed(cell).rstrip().endswith(":") for own in grid.columns[column + 1 :] for cell in own.cells())
    return sum(ends) > 1


def _with_corners(cards: list[_Card]) -> list[_Card]:
    """Where blocks have the same names over their columns (Q1, Q2 of each board), what stands in the corner of each is
    part of them."""
    names = [next(n for n, line in enumerate(card.lines) if line.label == f"{_NAME}0") for card in cards]
    if len({as_typed(card.lines[n].value) for card, n in zip(cards, names, strict=True)}) == len(cards):
        return cards
    for card, n in zip(cards, names, strict=True):
        corner, name = as_typed(card.lines[n + 1].beside[0][0]), as_typed(card.lines[n].value)
        card.lines[n : n + 2] = [replace(card.lines[n], value=f"{corner} / {name}")]
    return cards


def _line(filled: list[tuple[object, int]], label: str, behind: str, at: int, column: int) -> _Line:
    if not label:  # a cell that no label names
        return _Line("", "", at, column, list(filled))
    if behind:
        return _Line(label, behind, at, column, filled[1:])
    if len(filled) == 1:
        return _Line(label, "", at, column)
    return _Line(label, filled[1][0], at, filled[1][1], filled[2:])


def _labels(cards: list[_Card]) -> list[str]:
    """Labels that half of the cards have, in the order of the first card that has them."""
    often = Counter(label for card in cards for label in {line.label for line in card.lines if line.label})
    return [label for label, n in often.items() if n >= max(2, len(cards) / 2)] if cards else []


# ── cards into rows ──
def _table(grid: Grid, cards: list[_Card], labels: list[str]) -> Grid | None:
    order = [line.label for card in cards for line in card.lines if line.label in labels]
    labels = list(dict.fromkeys(order))
    first = min(card.lines[0].at for card in cards)
    above = [at for at in range(first) if any(c != "" for c in grid.row(at))]
    rest = max((len(_rest(card, labels)) for card in cards), default=0)
    width = max(len(labels) + rest, len(grid.columns) if above else 0)
    if sum(len(_rest(card, labels)) for card in cards) > sum(len(card.lines) for card in cards) / 3:
        return None  # more beside the labels than under them: these are no cards
    cells = np.full((len(above) + 1 + len(cards), width), "", dtype=object)
    places = np.zeros((*cells.shape, 2), dtype=np.int32)
    for i, at in enumerate(above):
        cells[i, : len(grid.columns)] = grid.row(at)
        places[i, :, 0], places[i, :, 1] = grid.numbers[at], np.arange(width)
    _head(grid, cards, labels, cells, places, len(above))
    for n, card in enumerate(cards, len(above) + 1):
        opened = card.lines[0]
        places[n, :, 0], places[n, :, 1] = grid.numbers[opened.at], opened.column
        seen: set[str] = set()
        for line in card.lines:
            if line.label in labels and line.label not in seen:
                seen.add(line.label)
                cells[n, labels.index(line.label)] = line.value
                places[n, labels.index(line.label)] = grid.numbers[line.at], line.column
        for k, (value, at, column) in enumerate(_rest(card, labels), len(labels)):
            cells[n, k] = value
            places[n, k] = grid.numbers[at], column
    columns = tuple(coded(np.ascontiguousarray(cells[:, c])) for c in range(width))
    numbers = np.arange(1, len(cells) + 1)
    return replace(grid, columns=columns, numbers=numbers, merged=(), special=_special(grid, places), places=places)


def _head(
    grid: Grid, cards: list[_Card], labels: list[str], cells: Texts, places: npt.NDArray[np.int32], at: int
) -> None:
    places[at, :, 0] = grid.numbers[cards[0].lines[0].at]
    for k, label in enumerate(labels):
        line = next(line for card in cards for line in card.lines if line.label == label)
        own = next((c for c in range(len(grid.columns)) if _label(grid.cell(line.at, c))[0] == label), -1)
        if label.startswith(_NAME):
            cells[at, k], places[at, k] = "", (grid.numbers[line.at], line.column)
            continue
        if own < 0:  # a label and the phase over its column
            cells[at, k], places[at, k] = label, (grid.numbers[line.at], line.column)
            continue
        typed = as_typed(grid.cell(line.at, own)).strip()
        parted = _LABELLED.fullmatch(typed)
        cells[at, k] = parted[1] if parted else typed.rstrip(" :=")
        places[at, k] = grid.numbers[line.at], own


def _rest(card: _Card, labels: list[str]) -> list[tuple[object, int, int]]:
    """Cells of a card that belong to none of its labels, with position and column."""
    out: list[tuple[object, int, int]] = []
    seen: set[str] = set()
    for line in card.lines:
        known = line.label in labels and line.label not in seen
        seen.add(line.label)
        if not known:
            told = [t for t in (line.label, as_typed(line.value)) if t]
            out += [(" ".join(told), line.at, line.column)] if told else []
        out += [(value, line.at, column) for value, column in line.beside]
    return out


def _special(grid: Grid, places: npt.NDArray[np.int32]) -> pd.DataFrame:
    """Special cells at their place in the folded table; what marks a label marks its value."""
    found = {(int(r), int(c)): (n, k) for n, line in enumerate(places) for k, (r, c) in reversed(list(enumerate(line)))}
    by_row = {int(r): n for n, line in enumerate(places) for r in line[:, 0]}
    special = grid.special.copy()
    at = [
        found.get((int(r), int(c)), (by_row.get(int(r), -1), 0))
        for r, c in zip(special["row"], special["column"], strict=True)
    ]
    special["row"], special["column"] = [n + 1 for n, _ in at], [k for _, k in at]
    return special[special["row"] > 0]
