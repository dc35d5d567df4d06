"""Texts from sheets made safe to show, and the words that several reports share."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from typing import Any

from rcdcheck.as_seen import cell_address, column_letters
from rcdcheck.audits import Audit
from rcdcheck.findings import THE_REST

_UNIT = re.compile(r"(?<=\d) (?=m[sA]\b|%)")


def width(text: str) -> int:
    """Columns that a text takes on a terminal."""
    if text.isascii():  # most are
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def cut(text: str, columns: int) -> str:
    """Text of at most so many terminal columns, cut with `…` where longer."""
    if width(text) <= columns:
        return text
    out = ""
    for c in text:
        if width(out + c) > columns - 1:
            break
        out += c
    return out + "…"


def address(audit: Audit, sheet: int, row: int, column: int, *, with_file: bool | None = None) -> str:
    """`day.xlsx North!F12` as a person finds it: file where there are several, sheet where it has a name."""
    if sheet < 0:
        return ""
    name, of_file = audit.tables.places[sheet]
    several = len(audit.tables.inputs) > 1 if with_file is None else with_file
    file = of_file if several else ""
    cell = cell_address(row, column) if column >= 0 and row else f"row {row}" if row else ""
    sign = "!" if column >= 0 else " "
    where = f"{name}{sign}{cell}" if name and cell else name or cell
    return " ".join(part for part in (file, where) if part)


def counted(n: int, one: str, many: str = "") -> str:
    """`1 device`, `12,345 devices`."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def cell_or_rows(finding: Any) -> str:
    """`F12`, `F5–F30`, `column F`, `row 7`, or empty."""
    row, last_row = (int(n) if n < THE_REST else 0 for n in (finding.row, getattr(finding, "last_row", 0)))
    letters = column_letters(int(finding.column)) if finding.column >= 0 else ""
    if last_row > row:
        return f"{letters}{row}–{letters}{last_row}" if letters else f"rows {row}–{last_row}"
    if row:
        return f"{letters}{row}" if letters else f"row {row}"
    return f"column {letters}" if letters else ""


def joined(names: Sequence[str]) -> str:
    """`1`, `1 and 2`, `1, 2 and 4`."""
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else ""


def with_units(text: str) -> str:
    """Text in which no line ends between a number and its unit."""
    return _UNIT.sub("\u00a0", text)


def wrapped(text: str, columns: int, indent: str) -> Iterator[str]:
    """Lines of at most so many columns; later ones begin with `indent`. No word is broken, no number from its unit."""
    line = text[: len(text) - len(text.lstrip())]
    for word in filter(None, with_units(text).split(" ")):
        joined_up = f"{line} {word}" if line.strip() else line + word
        if width(joined_up) > columns and line.strip():
            yield line.replace("\u00a0", " ")
            line = indent + word
        else:
            line = joined_up
    yield line.replace("\u00a0", " ")
