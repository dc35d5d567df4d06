"""Lines that state one thing: "Tested by: A. Snowfield", "Date" beside "20/11/2026", "Cal due 2027-04-30".

A label is one whole name of a field, followed by ":" or by the cell to its right; before a date it may stand bare.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rcdcheck.intake.cells.conventions import read_dates
from rcdcheck.intake.heading_words import phrases, tokens
from rcdcheck.intake.headings import meanings
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.records import as_typed

FIELDS = ("technician", "tested_at", "instrument", "calibration_due", "site")
DATES = ("tested_at", "calibration_due")
VAGUE = ("name", "job", "project", "address", "by")  # columns may be headed so; alone above a table they say too little


@dataclass(frozen=True)
class Fact:
    """One field stated above a table: its cell as typed, and where it stands (row as the person sees it)."""

    field: str
    value: object
    row: int
    column: int


def labelled(text: str) -> tuple[str, str]:
    """Field and value of one line such as "Site: Ice rink"; both empty where it is none."""
    label, colon, value = text.partition(":")
    field = _field(label, value) if colon and value.strip() else ""
    if field:
        return field, value.strip()
    words = text.split()
    for n in range(min(4, len(words) - 1), 0, -1):
        value = " ".join(words[n:])
        if _field(" ".join(words[:n]), value) in DATES and _is_date(value):
            return _field(" ".join(words[:n]), value), value
    return "", ""


def _field(label: str, value: object) -> str:
    """Field that a label names, empty where it is none; a "tester" with a digit in its name is an instrument."""
    parts = phrases().get(tuple(t for t in tokens(label) if t[0].isalnum()), ())
    named = [p.value for p in parts if p.kind in ("field", "either") and p.value in FIELDS]
    if not named or " ".join(tokens(label)) in VAGUE:
        return ""
    if named == ["technician", "instrument"]:
        return named[any(c.isdigit() for c in as_typed(value))]
    return named[0] if len(named) == len(parts) else ""


def _is_date(value: object) -> bool:
    cells = np.empty(1, dtype=object)
    cells[0] = value
    return not np.isnat(read_dates(cells, order="", as_of=None).value[0])


def facts_of_row(grid: Grid, row: int) -> list[Fact]:
    """Everything that the row at a position states, from left to right."""
    filled = [(int(c), cell) for c, cell in grid.cells.iloc[row].items() if cell != ""]
    at, facts = int(grid.cells.index[row]), []
    for i, (column, cell) in enumerate(filled):
        field, value = labelled(as_typed(cell)) if isinstance(cell, str) else ("", "")
        if field:
            facts.append(Fact(field, value, at, column))
            continue
        beside = filled[i + 1] if i + 1 < len(filled) else (0, "")
        label = _field(as_typed(cell).rstrip(" :"), beside[1]) if isinstance(cell, str) and beside[1] != "" else ""
        if label and not _is_heading(beside[1]) and (label not in DATES or _is_date(beside[1])):
            facts.append(Fact(label, beside[1], at, beside[0]))
    return facts


def _is_heading(cell: object) -> bool:
    """Whether the cell beside a label is a label or heading itself: "Date" beside "Trip time (ms)" states nothing."""
    if not isinstance(cell, str):
        return False
    whole = tuple(t for t in tokens(cell) if t[0].isalnum())
    return labelled(cell)[0] != "" or whole in phrases() or meanings([cell], [""])[0].slot is not None
