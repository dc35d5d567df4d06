"""Where the tables of tests are in a sheet: bodies of rows that agree, and the one to four rows that head them.

A row of data is never a heading: what has dates, readings or identifiers in it is passed by. Among the rows of words
that stand over data, those are the headings under which the whole makes most sense. Positions count the rows of the
grid from 0.
"""

from __future__ import annotations

import datetime as dt

from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.candidates import CHECKS, IDENTITY
from rcdcheck.intake.understood.drawn_headings import Drawn, Finder, says_again
from rcdcheck.intake.understood.headed import Stated
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.legend import Legend
from rcdcheck.intake.understood.table import Table
from rcdcheck.intake.understood.word_rows import runs_of, wordy_rows
from rcdcheck.tables import Mask


def find_tables(grid: Grid, full: Mask, stated: Stated, as_of: dt.date, legend: Legend) -> list[Table]:
    """Tables of tests in a grid, from top to bottom and from left to right."""
    if not grid.columns or not full.any():
        return []
    runs = runs_of(full, wordy_rows(grid, full))
    finder = Finder(grid, full, stated, as_of, runs, legend)
    found: list[Drawn] = []
    for run in runs:
        if found and run[0] <= found[-1].low:
            continue
        drawn = finder.best(run, [row for d in found for row in d.rows])
        if drawn is not None and not (found and says_again(drawn, found[-1]) and not finder.titled(drawn.rows[0])):
            found.append(drawn)
    tops = [*(d.rows[0] - finder.titled(d.rows[0]) for d in found[1:]), grid.height][: len(found)]
    return [t for drawn, stop in zip(found, tops, strict=True) for t in finder.tables(drawn, stop)]


def missing_parts(grid: Grid, full: Mask, stated: Stated, as_of: dt.date) -> str:
    """One clause on what kept a sheet from being a table of tests: the headings understood, and what is missing."""
    if not full.any():
        return "it is empty"
    runs = runs_of(full, wordy_rows(grid, full))
    finder = Finder(grid, full, stated, as_of, runs, {})
    rows = [(i,) for run in runs[:40] for i in run[:10] if full[i].sum() >= 2]
    headed = [finder._columns(r) for r in rows]
    known = max(([(c, f[0].meaning.field) for c in columns if (f := from_heading(c.heading)) and f[0].heading > 3]
                 for columns in headed), key=len, default=[])  # fmt: skip
    if not known:
        return "no heading of a test sheet was found (a device column and a reading or result column are needed)"
    wanted = {
        "a column that names the device": set(IDENTITY),
        "a column of readings or results": {"reading", "value", "pair", *CHECKS},
    }
    lacking = [words for words, fields in wanted.items() if not fields & {f for _, f in known}]
    told = ", ".join(f"“{c.heading}”" for c, _ in known[:6])
    return f"understood {told}; missing: {' and '.join(lacking) or 'rows below the headings'}"
