"""What the lines above a table say of all its tests: who, when, with which instrument, where, rated how.

"Tested by: A. Snowfield", "Date" beside "20/11/2026", "Cal due 2027-04-30", "rated 30 mA unless noted".
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.date_columns import read_dates
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.lexicon import further_fields, names, words_of
from rcdcheck.intake.understood.parts_of_test import of_all_times, part_of_test
from rcdcheck.intake.understood.ratings import CURRENT, rating_in
from rcdcheck.intake.understood.reading_headings import readings_of
from rcdcheck.sheet_fields import FLAG_FIELDS

FIELDS = (
    "technician", "tested_at", "instrument", "calibration_due", "site", "rated_residual_current", "rcd_type",
    "environment", "kind", "unit", "phase", "multiple", "board",
)  # fmt: skip
DATES = ("tested_at", "calibration_due")
SERIALS = ("serial",)  # above a table: of the instrument
VAGUE = (
    "name",
    "job",
    "project",
    "address",
    "by",
    "area",
    "place",
)  # columns may be headed so; alone they say too little


@dataclass(frozen=True)
class Fact:
    """One field stated above a table: its cell as typed, and where it stands (row as the person sees it); `sheet` is
    named where it is another."""

    field: str
    value: object
    row: int
    column: int
    sheet: str = ""


def labelled(text: str) -> tuple[str, str]:
    """Field and value of one line such as "Site: Ice rink"; both empty where it is none."""
    label, sign, value = _parted(text)
    field = _field(label, value) if sign and value.strip() else ""
    if field and not (field in ("board", "site") and rating_in(value)):  # "Main board - 300 mA" names itself
        return field, value.strip()
    words = text.split()
    for n in range(min(4, len(words) - 1), 0, -1):
        value = " ".join(words[n:])
        field = _field(" ".join(words[:n]), value)
        if field and _fits_bare(field, value):
            return field, (rating_in(text) or value) if field == "rated_residual_current" else value
    return _rating(text)


def _parted(text: str) -> tuple[str, str, str]:
    match = re.match(r"([^:=]{2,50}?)\s*(:|=|\s[-–—]\s)\s*(.+)$", text, re.DOTALL)
    return (match[1], match[2], match[3]) if match else (text, "", "")


def _rating(text: str) -> tuple[str, str]:
    """ "All RCDs 30 mA unless noted": the one preferred rating that a line of words gives."""
    found = rating_in(text)
    return ("rated_residual_current", found) if found else ("", "")


def _fits_bare(field: str, value: str) -> bool:
    """Whether a value that no sign parts from its label can only be that of the field."""
    if field in DATES:
        return is_date(value)
    if field == "rated_residual_current":
        return bool(CURRENT.match(value))
    return field == "instrument" and bool(re.fullmatch(r"(?:no\.?|nr\.?|#)?\s*(?=\S*\d)\S+", value))


def _field(label: str, value: object) -> str:
    """Field that a label names, empty where it is none; a "tester" with a digit in its name is an instrument."""
    words = words_of(label)
    if not words or " ".join(words) in VAGUE:
        return ""
    fits = [f for f in names(label) if f.part.kind == "field" and f.quality >= 0.84]
    if not fits or len(fits[0].rest) > 1:
        return ""
    best = [f.part.value for f in fits if f.quality >= fits[0].quality - 0.03]
    if "technician" in best and "instrument" in best:
        return "instrument" if any(c.isdigit() for c in as_typed(value)) else "technician"
    if best[0] in SERIALS and re.search(r"\d", as_typed(value)):
        return "instrument"
    return next((field for field in best if field in FIELDS or field in further_fields() - {*FLAG_FIELDS}), "")


def is_date(value: object) -> bool:
    """Whether a cell is a date, in whatever order its parts are typed."""
    cells = np.empty(1, dtype=object)
    cells[0] = value
    return not np.isnat(read_dates(cells, order="", as_of=None).value[0])


def facts_of_row(grid: Grid, at: int) -> list[Fact]:
    """Everything that the row at a position states, from left to right."""
    filled = [(c, cell) for c, cell in enumerate(grid.row(at)) if cell != ""]
    row, facts = int(grid.numbers[at]), []
    for i, (column, cell) in enumerate(filled):
        if not isinstance(cell, str):
            continue
        beside = filled[i + 1] if i + 1 < len(filled) else (0, "")
        label = _field(cell.rstrip(" :="), beside[1]) if beside[1] != "" else ""
        if (
            label
            and not _is_heading(beside[1])
            and (label not in DATES or is_date(beside[1]))
            and _value_of(label, beside[1])
        ):
            facts.append(Fact(label, beside[1], row, beside[0]))
            continue
        for piece in _PIECES.split(cell):
            field, value = labelled(piece)
            if field:
                facts.append(Fact(field, value, row, column))
            rated = rating_in(piece) if field not in ("", "rated_residual_current") else ""  # "Site: …, all 30 mA"
            facts += [Fact("rated_residual_current", rated, row, column)] if rated else []
        facts += [Fact(field, value, row, column) for field, value in of_all_times(cell)]
    parts = [part for _, cell in filled if isinstance(cell, str) and (part := _part_in_title(cell))[0]]
    if len(parts) == 1 and filled[0][0] == 0 and _part_in_title(as_typed(filled[0][1]))[0]:  # and no heading of columns
        facts.append(Fact(*parts[0], row, 0))
    return facts


_PIECES = re.compile(r"\s{3,}|\s[|;•·]\s|,\s+(?=[^,]{2,40}:)|(?<=\w\w)\.\s+(?=[^\W\d_a-z]\w+ )")


def _part_in_title(text: str) -> tuple[str, str]:
    pieces = map(part_of_test, re.split(r"\s[-–—]\s|[,:;]", text))
    return next((part for part in pieces if part[0]), ("", ""))


def _value_of(field: str, value: object) -> bool:
    """Whether a cell may be the value of a field: a rating is a current."""
    if field != "rated_residual_current":
        return True
    return bool(grammars(value) & Kind.RATED) or bool(CURRENT.match(as_typed(value)))


def _is_heading(cell: object) -> bool:
    """Whether the cell beside a label is a label or heading itself: "Date" beside "Trip time (ms)" states nothing."""
    if not isinstance(cell, str):
        return False
    named = any(f.quality >= 0.95 and not f.rest for f in names(cell))
    return labelled(cell)[0] != "" or named or any(r.weight >= 3.0 for r in readings_of(cell))
