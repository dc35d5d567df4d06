"""What a register holds, as plain text for a terminal; nothing here needs more than the standard library."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from rcdcheck.reports.text import counted, cut, width
from rcdcheck.showing import visible

if TYPE_CHECKING:
    from rcdcheck.register.visits import Visit

WIDEST = 30  # columns of one cell


def aligned(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A table in columns parted by two spaces, numbers to the right; only the last column is never cut."""
    cells = [[*(cut(visible(text), WIDEST) for text in row[:-1]), visible(row[-1])] for row in (head, *rows)]
    widths = [max(width(row[i]) for row in cells) for i in range(len(head))]
    numeric = [all(row[i].isdecimal() or not row[i] for row in cells[1:]) for i in range(len(head))]
    return "\n".join("  ".join(map(_padded, row, widths, numeric)).rstrip() for row in cells)


def _padded(text: str, columns: int, right: bool) -> str:
    room = " " * (columns - width(text))
    return room + text if right else text + room


def settling_lines(lines: Sequence[tuple[str, ...]]) -> str:
    """A settling file, to be corrected and given back: CSV with a heading."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("is", "site", "device", "other_site", "other_device", "why"))
    writer.writerows([visible(text) for text in line] for line in lines)
    return out.getvalue().rstrip("\n")


def _span(visit: Visit) -> str:
    return " to ".join(dict.fromkeys(filter(None, (visit.first_day, visit.last_day))))


def visits_text(visits: Sequence[Visit]) -> str:
    """The visits of a register, one a line, and a sentence."""
    head = ("visit", "file", "taken in", "tested", "grade", "tests", "fail", "unclear", "incomplete", "pass", "")
    rows = [
        (
            str(v.number), v.file, v.as_of, _span(v), v.grade,
            str(v.tests), str(v.fail), str(v.unclear), str(v.incomplete), str(v.passed),
            f"replaced by {v.replaced_by}" if v.replaced_by else "",
        )
        for v in visits
    ]  # fmt: skip
    stand = [v for v in visits if not v.replaced_by]
    said = f"{counted(len(stand), 'visit')} of {counted(sum(v.tests for v in stand), 'test')}."
    return f"{aligned(head, rows)}\n{said}" if visits else "No visit yet."
