"""What the lines above each table of a sheet state, also over the first for all, and the day in a title."""

from __future__ import annotations

import re
from collections.abc import Sequence

from rcdcheck.as_seen import as_typed
from rcdcheck.intake.cells.phrases import folded, pattern
from rcdcheck.intake.cells.rounds import names_round, round_of
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.facts import Fact, facts_of_row, is_date
from rcdcheck.intake.understood.lexicon import further_fields
from rcdcheck.sheet_fields import DATE_FIELDS
from rcdcheck.tables import Mask


def title_blocks(grid: Grid, full: Mask, tops: Sequence[int], tests: Mask) -> list[list[Fact]]:
    """Facts for each table; what stands over the first holds for the others, unless lines directly over them differ.

    tops: position of the first heading row of each table. tests: which rows are tests or headings.
    """
    first: list[Fact] = []
    out: list[list[Fact]] = []
    for top in tops:
        rows = range(top) if not out else _directly_above(full, top, tests)
        own = [fact for row in rows for fact in facts_of_row(grid, row)]
        if not any(fact.field == "tested_at" for fact in own):
            dated = {fact.row for fact in own if fact.field in further_fields() & {*DATE_FIELDS}}
            titles = (row for row in rows if int(grid.numbers[row]) not in dated)
            own += [fact for row in titles for fact in _dates_of_titles(grid, row)]
        if not out:
            first = own
        named = {fact.field for fact in own}
        out.append(_certain([*own, *(f for f in first if f.field not in named)]))
    return out


def _dates_of_titles(grid: Grid, at: int) -> list[Fact]:
    """The one date within the words of a title: "RCD results, main hall 18/7/23"; of a due date it says nothing."""
    row, found = int(grid.numbers[at]), []
    for column, cell in enumerate(grid.row(at)):
        if isinstance(cell, str) and len(cell) <= 120 and not _OTHER_DATE.search(cell):
            dates = [text for text in _DATED.findall(cell) if is_date(text)]
            found += [Fact("tested_at", dates[0], row, column)] if len(dates) == 1 else []
    return found


def day_of_visit(line: str) -> str:
    """The one day in a line that speaks of a visit ("Second visit 20 July 2026", "Retests - 3/8/26"), or says nothing
    else; empty where it has none."""
    dates = [text for text in _DATED.findall(line) if is_date(text)]
    rest = _DATED.sub(" ", line).strip(" -–—,:()")
    visit = not rest or names_round(rest) or round_of(rest) > 0 or pattern("repeat").search(folded(rest))
    return dates[0] if len(dates) == 1 and visit else ""


_DATED = re.compile(
    r"(?<![\w./-])(?:\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d{2})|\d{4}[./-]\d{1,2}[./-]\d{1,2}"
    r"|\d{1,2}(?:st|nd|rd|th|\.)?\s+[^\W\d_]{3,9}\.?\s+\d{4})(?![\w/-])"
)
_OTHER_DATE = re.compile(
    r"(?<![^\W_])(?:due|next|cal|calib\w*|expir\w*|print\w*|issue\w*|rev|version|until|before|since|from|to|bis|seit"
    r"|fällig|nächste\w*|gedruckt|prochain\w*|próxim\w*|prossim\w*|volgende)(?![^\W_])",
    re.IGNORECASE,
)


def _directly_above(full: Mask, top: int, tests: Mask) -> range:
    """Rows between a heading and the blank row or the test above it."""
    row = top
    while row > 0 and full[row - 1].any() and not tests[row - 1]:
        row -= 1
    return range(row, top)


def _certain(facts: Sequence[Fact]) -> list[Fact]:
    """One fact for each field; a field stated twice and differently is no fact."""
    said = {f.field: {as_typed(g.value) for g in facts if g.field == f.field} for f in facts}
    return list({f.field: f for f in reversed(facts) if len(said[f.field]) == 1}.values())
