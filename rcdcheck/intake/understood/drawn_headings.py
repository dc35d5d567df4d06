"""Ways to draw the one to four rows that head a table, and the one under which the whole makes most sense."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rcdcheck.as_seen import NO_HEADING, as_typed, column_letters
from rcdcheck.intake.cells.classes import TypeNames
from rcdcheck.intake.opened.grids import Grid
from rcdcheck.intake.understood.assignment import (
    Assigned,
    Weighing,
    assign,
    named,
    rated_of,
)
from rcdcheck.intake.understood.candidates import IDENTITY, Candidate
from rcdcheck.intake.understood.column_candidates import STANDS_FOR, Headed
from rcdcheck.intake.understood.grammars import Kind, grammars
from rcdcheck.intake.understood.headed import Stated, letters_last, outlets_apart, rounds_apart, visits_apart
from rcdcheck.intake.understood.heading_evidence import from_heading
from rcdcheck.intake.understood.legend import Legend, of_column
from rcdcheck.intake.understood.lexicon import normal
from rcdcheck.intake.understood.meaning import Meaning
from rcdcheck.intake.understood.profiles import profile
from rcdcheck.intake.understood.reading_headings import parts_of
from rcdcheck.intake.understood.table import Column, Table
from rcdcheck.intake.understood.tick_columns import tick_columns
from rcdcheck.intake.understood.word_rows import is_datum
from rcdcheck.tables import Mask

DEEPEST = 4  # rows of one heading
SAMPLED = 3_000  # rows of a body that tell what its columns mean
REPEATED = 0.8  # share of the cells of a heading that a row must say again to be one
TRIED = 4  # ways to draw the heading that are weighed with their cells
OVER_COLUMNS = ("multiple", "phase")  # "Trip time x1" over columns further right groups them: it is no title


@dataclass(frozen=True)
class Drawn:
    """A way to draw a heading: its rows, its columns as they come in, and how much sense they make."""

    rows: tuple[int, ...]
    columns: tuple[Headed, ...]
    weighing: Weighing
    ticks: list[tuple[int, Meaning]]
    score: float

    @property
    def low(self) -> int:
        """Position of its lowest row."""
        return self.rows[-1]

    @property
    def assigned(self) -> list[Assigned]:
        """Its columns with their margins; asked of the drawing that was chosen, since it takes a while."""
        return _with_ticks(self.ticks, self.weighing.with_margins())


class Finder:
    """Looks among rows of words for those that head a table, and draws the tables under them."""

    def __init__(
        self,
        grid: Grid,
        full: Mask,
        stated: Stated,
        as_of: dt.date,
        runs: Sequence[Sequence[int]],
        legend: Legend,
        types: TypeNames,
    ) -> None:
        self.grid, self.full, self.stated, self.as_of = grid, full, stated, as_of
        self.legend, self.types = legend, types
        self.ends = {i: run[-1] for run in runs for i in run}
        self.heads = [i for run in runs for i in run if full[i].sum() >= 2 and self._names_columns(i)]
        self.titles = {
            (int(top), left): right for top, left, bottom, right in grid.merged if right > left and top == bottom
        }

    def best(self, run: Sequence[int], above: Sequence[int]) -> Drawn | None:
        """The heading within a run of rows of words under which most makes sense; None where none names a table.

        `above`: rows of the headings found so far.
        """
        tried = []
        for low in run[:40]:
            if self.full[low].sum() < 2 or self._goes_on(low) or self._names_a_part(low) or self._is_labels(low):
                continue
            for deep in range(1, DEEPEST + 1):
                rows = tuple(range(low - deep + 1, low + 1))
                if rows[0] < run[0] or (deep > 1 and self._is_title(rows[0], low)):
                    break
                columns = self._columns(rows)
                tried.append((self._by_headings(columns) - 0.3 * deep, rows, columns))
        tried.sort(key=lambda t: -t[0])
        drawn = [self._drawn(rows, columns) for _, rows, columns in tried[:TRIED]]
        fit = [d for d in drawn if d is not None and (not above or (self._heads(d) and not self._is_data(d, above)))]
        return max(fit, key=lambda d: d.score, default=None)

    def _goes_on(self, low: int) -> bool:
        """Whether the next row holds two of its cells and half of them again, as rows of tests do: it heads nothing."""
        if low + 1 >= self.grid.height:
            return False
        same = [c.codes[low] == c.codes[low + 1] for c in self.grid.columns if c.codes[low]]
        return sum(same) >= 2 and 2 * sum(same) >= len(same)

    def _is_labels(self, low: int) -> bool:
        """Whether a row holds labels with colons and their values: "Board:" | "DB-TH" | "Date:" | "17-Aug-2026"."""
        from rcdcheck.intake.understood.facts import facts_of_row

        cells = [as_typed(c).strip() for c in self.grid.row(low) if c != ""]
        labels = len(cells) % 2 == 0 and all(text.endswith(":") for text in cells[::2])
        return labels and len(facts_of_row(self.grid, low)) == len(cells) / 2

    def _names_a_part(self, low: int) -> bool:
        """Whether a row of two cells is the first of several that name parts of a table ("Distro A" | "food row, 32 A",
        "Distro B" | …), each over rows of its own."""
        cells = [as_typed(c) for c in self.grid.row(low) if c != ""]
        stem = cells[0].split()[:-1]
        if len(cells) != 2 or not stem:
            return False
        alike = np.flatnonzero((self.full[low + 1 :] == self.full[low]).all(axis=1))[:SAMPLED] + low + 1
        named = (as_typed(next(c for c in self.grid.row(at) if c != "")).split() for at in alike.tolist())
        return any(words[:-1] == stem for words in named)

    def _names_columns(self, at: int) -> bool:
        """Whether most cells of a row are headings that are known, one of them of a device."""
        cells = [as_typed(c) for c in self.grid.row(at) if c != ""]
        told = [f for c in cells if not is_datum(c) and (f := from_heading(c)) and f[0].heading >= 3.0]
        fields = {c.meaning.field for f in told for c in f[:2]}
        return 2 * len(told) > len(cells) and len(told) >= 2 and _names(fields)

    def _by_headings(self, columns: Sequence[Headed]) -> float:
        """A first estimate from the headings alone."""
        best = [max((c.heading for c in from_heading(h.heading, h.groups)), default=-1.0) for h in columns]
        return sum(best) + sum(5.0 for h in columns if h.stated is not None)

    def _drawn(self, rows: tuple[int, ...], columns: tuple[Headed, ...]) -> Drawn | None:
        body = self._body(rows[-1])
        if not len(body):
            return None
        profiles = [
            profile(self.grid.columns[c.number], body, of_column(self.legend, c.heading), self.types) for c in columns
        ]
        weighing = assign(columns, profiles, rated_of(columns, profiles), self.as_of)
        ticks = tick_columns(columns, profiles)
        assigned = _with_ticks(ticks, weighing.assigned())
        if not named(assigned) or _is_list(assigned):
            return None
        headed = {c.number for c in columns if c.shown}
        bare = sum(1 for i, c in enumerate(self.grid.columns) if i not in headed and (c.codes[body] != 0).mean() > 0.5)
        score = sum(min(a.chosen.weight, 9.0) for a in assigned if a.column.shown) - 2.0 * bare - 0.3 * len(rows)
        score -= _twins(assigned)
        return Drawn(rows, columns, weighing, ticks, score)

    def _body(self, low: int) -> npt.NDArray[np.int64]:
        """Filled rows below a heading that tell what its columns mean: down to where it is said again."""
        stop = next((i for i in self.heads if i > self.ends.get(low, low)), self.grid.height)
        rows = np.flatnonzero(self.full[low + 1 : min(low + 1 + SAMPLED, stop)].any(axis=1)) + low + 1
        again = np.flatnonzero(self._repeat_of(low, rows))
        rows = rows[: again[0]] if len(again) and again[0] >= 2 else np.delete(rows, again)
        wide = self.full[rows].sum(axis=1)
        return rows[wide >= 2] if (wide >= 2).any() else rows

    def _repeat_of(self, low: int, rows: npt.NDArray[np.int64]) -> Mask:
        """Rows that say again what a heading says, as on each printed page."""
        cells = [column.codes for column in self.grid.columns if column.codes[low]]
        same = np.array([codes[rows] == codes[low] for codes in cells], dtype=bool)
        again: Mask = same.mean(axis=0) >= REPEATED if cells else np.zeros(len(rows), dtype=bool)
        return again

    def _heads(self, drawn: Drawn) -> bool:
        """Whether a row further down heads a table of its own: most of its cells are known headings."""
        told = [c for c in drawn.columns if any(f.heading >= 3.0 for f in from_heading(c.heading, c.groups))]
        known = [c for c in told if not is_datum(c.heading)]
        fields = {f.meaning.field for c in known for f in from_heading(c.heading, c.groups)[:2]}
        return 2 * len(known) > len(drawn.columns) and _names(fields) and len(known) >= 2

    def titled(self, top: int) -> bool:
        """Whether the row over a heading says of which test the table is: "Times at 5x rated current", "Ramp test"."""
        cells = [as_typed(c) for c in self.grid.row(top - 1) if c != ""] if top > 0 else []
        return len(cells) == 1 and bool(parts_of(cells[0]).of("quantity"))

    def _is_data(self, drawn: Drawn, above: Sequence[int]) -> bool:
        """Whether the lowest row of a heading further down is a row of tests: half of its cells stand in others too."""
        low, headings = drawn.low, set(above)
        again = []
        for column in self.grid.columns:
            code = column.codes[low]
            if code:
                rows = np.flatnonzero(column.codes == code)
                again.append(any(row != low and row not in headings for row in rows[: len(headings) + 2].tolist()))
        return 2 * sum(again) > len(again)

    def _is_title(self, top: int, low: int) -> bool:
        """Whether a row over headings is a title: one text at the left, or across most of the width."""
        filled = np.flatnonzero(self.full[top])
        if len(filled) != 1:
            return self._states_facts(top)
        width = np.flatnonzero(self.full[low])
        row = int(self.grid.numbers[top])
        reach = self.titles.get((row, int(filled[0])), int(filled[0])) - int(filled[0]) + 1
        return int(filled[0]) <= int(width[0]) or reach >= 0.6 * len(width)

    def _states_facts(self, top: int) -> bool:
        from rcdcheck.intake.understood.facts import facts_of_row, labelled

        cells = [as_typed(c) for c in self.grid.row(top) if c != ""]
        headings = sum(any(f.heading >= 3.0 for f in from_heading(c)) for c in cells if not labelled(c)[0])
        facts = [f for f in facts_of_row(self.grid, top) if f.column == 0 or f.field not in OVER_COLUMNS]
        return len(cells) <= 4 and headings <= 2 and bool(facts)

    def _columns(self, rows: tuple[int, ...]) -> tuple[Headed, ...]:
        texts = [[as_typed(c).strip() for c in self.grid.row(r)] for r in rows]
        groups = [self._spread(r, texts[i], texts[i + 1 :]) for i, r in enumerate(rows[:-1])]
        out = []
        for c in range(len(self.grid.columns)):
            own = [i for i, line in enumerate(texts) if line[c]]
            if own and self.grid.turned and not (self.grid.columns[c].codes[rows[-1] + 1 :] != 0).any():
                continue  # a line of the sheet with nothing beside it: a title, or a label without values
            if not own:
                named = f"={column_letters(c)}" in self.stated
                if named or self._continues(c, rows[-1]):
                    out.append(self._headed(c, rows[-1], "", tuple(g[c] for g in groups if g[c])))
                continue
            low = own[-1]
            above = tuple(dict.fromkeys(g[c] for g in groups[:low] if g[c] and g[c] != texts[low][c]))
            out.append(self._headed(c, rows[low], *_unbroken(texts[low][c], above)))
        return self._visits_apart(
            visits_apart(rounds_apart(outlets_apart(letters_last(out, self.stated)))), rows[0] - 1
        )

    def _visits_apart(self, columns: tuple[Headed, ...], top: int) -> tuple[Headed, ...]:
        """Columns that come again below each of several dates: a visit each, told apart as outlets are."""
        row = self.grid.row(top) if top >= 0 else []
        dates = {c: as_typed(cell) for c, cell in enumerate(row) if cell != "" and grammars(cell) & Kind.DATE}
        if len(dates) < 2:
            return columns
        under = [max((c for c in dates if c <= column.number), default=-1) for column in columns]
        again = Counter(normal(c.shown) for c, at in zip(columns, under, strict=True) if at >= 0)
        return tuple(
            replace(c, outlet=dates[at]) if at >= 0 and again[normal(c.shown)] > 1 else c
            for c, at in zip(columns, under, strict=True)
        )

    def _continues(self, c: int, low: int) -> bool:
        """Whether a column without a heading of its own stands under a heading that is merged over it."""
        return bool((self.grid.columns[c].codes[low + 1 : low + 50] != 0).any())

    def _headed(self, c: int, at: int, heading: str, groups: tuple[str, ...]) -> Headed:
        shown = " ".join((*groups, heading)).strip()
        keys = (f"#{c}@{int(self.grid.numbers[at])}", normal(shown), normal(heading), f"={column_letters(c)}")
        stated = next((self.stated[k] for k in keys if k and k in self.stated), None)
        return Headed(c, int(self.grid.numbers[at]), heading, groups, stated)

    def _spread(self, at: int, texts: Sequence[str], below: Sequence[Sequence[str]]) -> list[str]:
        """The heading over each column, spread over the columns that it covers, merged or not."""
        out, current, until = [""] * len(texts), "", -1
        row = int(self.grid.numbers[at])
        for c, text in enumerate(texts):
            if text:
                current, until = text, self.titles.get((row, c), -1)
            elif until >= 0 and c > until:
                current = ""
            elif not any(line[c] for line in below):
                current = current if until >= c else ""
            out[c] = current
        return out

    # ── drawn headings into tables ──
    def tables(self, drawn: Drawn, stop: int) -> list[Table]:
        """The table under a heading, or the tables that stand under it side by side."""
        parts = _side_by_side(drawn)
        if len(parts) == 1:
            return [self._table(drawn, drawn.assigned, stop, "")]
        out = []
        for n, part in enumerate(parts):
            beyond = drawn.columns[parts[n + 1][0]].number if n + 1 < len(parts) else -1
            columns = tuple(drawn.columns[i] for i in part)
            labels = {c.groups[0] for c in columns if c.groups}
            label = next(iter(labels)) if len(labels) == 1 else self._above(drawn, parts, n)
            plain = tuple(replace(c, groups=c.groups[1:]) if label and c.groups else c for c in columns)
            own = self._drawn(drawn.rows, plain)
            if own is not None:
                out.append(replace(self._table(drawn, own.assigned, stop, label), beyond=beyond))
        return out or [self._table(drawn, drawn.assigned, stop, "")]

    def _above(self, drawn: Drawn, parts: Sequence[Sequence[int]], n: int) -> str:
        """The one text that stands over a table in the row over the headings, where each beside it has one too."""
        top = drawn.rows[0] - 1
        filled = np.flatnonzero(self.full[top]) if top >= 0 else np.zeros(0, dtype=np.int64)
        lefts = [drawn.columns[part[0]].number for part in parts]
        over = np.searchsorted(lefts, filled, side="right") - 1
        if len(filled) != len(parts) or sorted(over.tolist()) != list(range(len(parts))):
            return ""
        return as_typed(self.grid.cell(top, int(filled[n]))).strip()

    def _table(self, drawn: Drawn, assigned: Sequence[Assigned], stop: int, label: str) -> Table:
        score = sum(min(a.chosen.weight, 9.0) if a.chosen.meaning.field else -2.0 for a in assigned)
        columns = tuple(_column(a) for a in assigned)
        return Table(drawn.rows, columns, drawn.low + 1, stop, label, score=score, fit=fit_of(assigned))


def _unbroken(heading: str, above: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
    """A heading and the headings above it; a word broken over two rows ("Auslöse-", "strom (mA)") is made whole."""
    if above and above[-1].endswith("-") and len(above[-1]) > 2 and heading[:1].islower():
        return above[-1][:-1] + heading, above[:-1]
    return heading, above


def _names(fields: set[str]) -> bool:
    """Whether one of the headings of these fields names devices; that of a place does beside one of readings."""
    return bool(fields & set(IDENTITY)) or ("reading" in fields and bool(fields & set(STANDS_FOR)))


def _twins(assigned: Sequence[Assigned]) -> int:
    """Columns of a reading that another one already is: a row above may tell them apart."""
    readings = [(a.chosen.key, a.column.outlet) for a in assigned if a.chosen.meaning.field == "reading"]
    return len(readings) - len(set(readings))


def _is_list(assigned: Sequence[Assigned]) -> bool:
    """Whether a row is one of a list of headings with words about them: cells contradict, no heading is sure."""
    names = max((a.chosen.heading for a in assigned if a.chosen.meaning.field in IDENTITY), default=0.0)
    return fit_of(assigned) < 0.0 and names < 5.0


def fit_of(assigned: Sequence[Assigned]) -> float:
    """What the cells say of the columns that have a meaning, on average, in log-odds."""
    read = [a.chosen.cells for a in assigned if a.chosen.meaning.field and a.column.stated is None]
    return sum(read) / len(read) if read else 0.0


def _column(a: Assigned) -> Column:
    own = {c.key for c in from_heading(a.column.heading)[:1]}
    shown = a.column.heading if a.chosen.key in own or not a.column.groups else a.column.shown
    stated = a.column.stated is not None
    return Column(a.column.number, a.column.row, shown or NO_HEADING, a.chosen.meaning, stated, a.other, a.margin,
                  a.chosen.why, a.column.outlet)  # fmt: skip


def says_again(drawn: Drawn, earlier: Drawn) -> bool:
    """Whether headings only repeat those above, as on each printed page."""
    return [(c.number, normal(c.heading)) for c in drawn.columns] == [
        (c.number, normal(c.heading)) for c in earlier.columns
    ]


def _side_by_side(drawn: Drawn) -> list[list[int]]:
    """Places of the columns of each table that stands under one heading: where the first heading comes again."""
    columns = drawn.columns
    first = normal(columns[0].heading)
    starts = [i for i, c in enumerate(columns) if normal(c.heading) == first]
    whole = [list(range(len(columns)))]
    if len(starts) < 2 or starts[0] != 0:
        return whole
    devices = any(c.meaning.field in IDENTITY for c in from_heading(columns[0].heading))
    parts = [list(range(a, b)) for a, b in zip(starts, [*starts[1:], len(columns)], strict=True)]
    texts = {tuple(normal(columns[i].heading) for i in part) for part in parts}
    alike = len(texts) == 1 and len(parts[0]) >= 3 and first not in ("0", "180", "+", "-")
    return parts if (devices or alike) and all(len(p) >= 2 for p in parts) else whole


def _with_ticks(ticks: Sequence[tuple[int, Meaning]], assigned: list[Assigned]) -> list[Assigned]:
    """Two columns headed pass and fail, of which each row ticks one: the result of the row, or of one check."""
    out = list(assigned)
    for place, meaning in ticks:
        told = Candidate(meaning, 7.0, 2.0, ("it is ticked where the column beside it is not",))
        out[place] = replace(out[place], chosen=told, other=None, margin=99.0)
    return out
