"""What a sheet is made of, and how wide and high that is: columns, tables, and values that bring their own kind."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice
from typing import Any, NamedTuple

MEASURED = 300  # rows from which the widths are taken


class Measure(NamedTuple):
    """A value whose kind (of excel_style.FORMATS) differs from row to row: `Measure(28.4, "ms")`."""

    value: object
    kind: str


class Linked(NamedTuple):
    """A value that leads to a place in the workbook: `Linked("WM-001", "'Devices'!A5")`; nowhere if that is empty."""

    value: object
    place: str


@dataclass(frozen=True)
class Column:
    """Heading, kind of value (excel_style.FORMATS), and how many characters wide it may get."""

    title: str
    kind: str = "text"
    most: int = 50
    least: int = 8


@dataclass(frozen=True)
class Block:
    """One table of a sheet. `name` is what formulas call it; `chart` draws it from (title, first row, last row)."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[object]]
    caption: str = ""
    none: str = "Nothing to list."
    chart: Callable[[Any, int, int], Any] | None = None
    alt: str = ""
    new_page: bool = False  # of the print
    lines: int = 1  # least height of a row, for what is written by hand


@dataclass(frozen=True)
class Sheet:
    """A sheet: what it is (A1), a sentence on what it holds (A2), its tables; `plain` begins with the headings."""

    name: str
    title: str
    sentence: str
    blocks: Sequence[Block]
    plain: bool = False
    back: str = "Summary"
    printed: int = 0  # columns that are printed, 0 all
    upright: bool = False  # printed on upright pages


def measured(block: Block) -> Block:
    """The block with its first rows read, so that widths can be set before the first is written."""
    rows = iter(block.rows)
    first = list(islice(rows, MEASURED))
    return replace(block, rows=_Peeked(first, rows))


class _Peeked:
    """Rows of which the first have been read already."""

    def __init__(self, first: list[Sequence[object]], rest: Iterator[Sequence[object]]) -> None:
        self.first, self.rest = first, rest

    def __iter__(self) -> Iterator[Sequence[object]]:
        return chain(self.first, self.rest)


def widths(blocks: Sequence[Block]) -> list[float]:
    """Characters by column: the longest of its heading and first texts, within what each column allows."""
    widths: list[float] = [0.0] * max(len(block.columns) for block in blocks)
    for block in blocks:
        first = block.rows.first if isinstance(block.rows, _Peeked) else []
        for number, column in enumerate(block.columns):
            longest = max([min(len(column.title) + 3, 14), *(_length(row[number]) for row in first)])
            widths[number] = max(widths[number], min(column.most, max(column.least, longest + 2)))
    return widths


def lines_of(column: Column, value: object, width: float) -> int:
    """Lines that a value takes in its column."""
    if column.kind != "text" or not value:
        return 1
    return -(-_length(value) // max(1, int(width)))


def _length(value: object) -> int:
    if isinstance(value, Linked | Measure):
        unit = 3 if isinstance(value, Measure) and isinstance(value[0], float) else 0
        return _length(value[0]) + unit
    return 16 if isinstance(value, dt.date) else len(str(value)) if value is not None else 0
